// No field lets the browser keep what was typed, or suggest what was typed elsewhere (HTML, "autofill"): it may be a
// client's name. Streamlit offers this for one kind of field only, so it is set on each as it comes onto the page.
(() => {
  const closed = (field) => {
    if (field.getAttribute("autocomplete") !== "off") field.setAttribute("autocomplete", "off")
  }
  const fields = "input, textarea, form"
  new MutationObserver((changes) => {
    for (const { type, target, addedNodes } of changes) {
      const changed = type === "attributes" ? [target] : [...addedNodes].filter((node) => node instanceof Element)
      for (const element of changed) {
        if (element.matches(fields)) closed(element)
        if (type === "childList") element.querySelectorAll(fields).forEach(closed)
      }
    }
  }).observe(document, { childList: true, subtree: true, attributes: true, attributeFilter: ["autocomplete"] })
})()
