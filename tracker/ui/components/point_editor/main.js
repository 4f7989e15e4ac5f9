// Streamlit runs the default export again on every change of data or theme: one editor per place, updated.
const editors = new WeakMap()

export default function (component) {
  const root = component.parentElement.querySelector(".marks")
  if (!editors.has(root)) editors.set(root, new Editor(root))
  editors.get(root).update(component)
}
