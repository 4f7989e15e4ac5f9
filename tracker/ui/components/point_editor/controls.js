// Keys, buttons, the width's range: everything that is done without touching the photo.
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }

class Controls {
  constructor(editor) {
    this.editor = editor
    const { root, stage, range, find } = editor
    const on = (element, name, act) => element.addEventListener(name, act)
    on(stage, "focusin", event => this.#focus(event.target.closest(".handle")))
    on(root, "focusout", () => editor.flush())
    on(root, "keydown", event => this.#key(event))
    on(find("image"), "error", () => { find(".missing").hidden = false })
    on(find("image"), "load", () => { find(".missing").hidden = true })
    on(find(".undo"), "click", () => editor.undo())
    on(find(".remove"), "click", () => editor.remove(Number(editor.picked.split("-")[1])))
    on(find(".zoom"), "click", event => this.#zoom(Number(event.target.dataset.zoom)))
    on(range, "input", () => this.#slideWidth())
    on(range, "change", () => editor.flush())
  }

  #key(event) {
    const { editor } = this
    const undo = (event.ctrlKey || event.metaKey) && !event.shiftKey && event.key.toLowerCase() === "z"
    if (undo) return this.#take(event, () => editor.undo())
    const handle = event.target.closest?.(".handle")
    if (!handle || event.ctrlKey || event.metaKey || event.altKey) return
    const { kind } = handle.dataset, index = Number(handle.dataset.index)
    if (ARROWS[event.key]) this.#take(event, () => this.#nudge(kind, index, ARROWS[event.key], event.shiftKey ? 10 : 1))
    else if (kind === "point" && ["Delete", "Backspace"].includes(event.key)) this.#take(event, () => editor.remove(index))
    else if (kind === "point" && ["Insert", "+"].includes(event.key)) this.#take(event, () => this.#insertAfter(index))
  }

  #take(event, act) {
    event.preventDefault()
    event.stopPropagation()
    act()
  }

  #nudge(kind, index, way, step) {
    const { editor } = this
    if (!editor.timer) editor.remember(editor.snapshot())
    editor.shift(kind, index, editor.snapshot(), way.map(v => v * step * editor.view.scale))
    const at = editor.place(kind, index)
    editor.view.reveal(at)
    editor.draw()
    if (kind !== "card") editor.drawing.magnify(editor.marks, at)
    editor.commitSoon(`${pointName(kind, index, editor.marks.path)}: ${Math.round(at[0])} across, ${Math.round(at[1])} down.`)
  }

  #insertAfter(index) {
    const { editor } = this
    editor.flush()
    editor.remember(editor.snapshot())
    editor.insert(Math.min(index, editor.marks.path.length - 2))
    editor.focusPicked()
    editor.commit("Point added.")
  }

  #focus(handle) {
    const { editor } = this
    if (!handle?.dataset.kind || editor.hands.gesture) return
    editor.picked = handle.dataset.testid
    editor.view.reveal(editor.place(handle.dataset.kind, Number(handle.dataset.index)))
    editor.draw()
  }

  #zoom(zoom) {
    const { editor } = this, { view } = editor
    if (!zoom) return
    const [kind, index] = editor.picked?.split("-") ?? []
    view.setZoom(zoom, kind ? editor.place(kind, Number(index)) : plus(view.corner, view.shown, 0.5))
    editor.draw()
  }

  #slideWidth() {
    const { editor } = this
    if (!editor.timer) editor.remember(editor.snapshot())
    editor.setWidth(Number(editor.range.value))
    editor.draw()
    editor.commitSoon("")
  }
}
