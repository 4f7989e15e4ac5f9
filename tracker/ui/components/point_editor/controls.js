// Keys and buttons: everything that is done without touching the photo.
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }

class Controls {
  constructor(editor) {
    this.editor = editor
    const { root, stage, find } = editor
    const on = (element, name, act) => element.addEventListener(name, act)
    on(stage, "focusin", event => this.#focus(event.target.closest(".handle")))
    on(root, "focusout", () => editor.flush())
    on(root, "keydown", event => this.#key(event))
    on(find("image"), "error", () => { find(".missing").hidden = false })
    on(find("image"), "load", () => { find(".missing").hidden = true })
    on(find(".undo"), "click", () => editor.undo())
    on(find(".remove"), "click", () => editor.remove(...editor.pickedMark))
    on(find(".again"), "click", () => editor.startAgain())
    on(find(".zoom"), "click", event => this.#zoom(Number(event.target.dataset.zoom)))
  }

  #key(event) {
    const { editor } = this
    const undo = (event.ctrlKey || event.metaKey) && !event.shiftKey && event.key.toLowerCase() === "z"
    if (undo) return this.#take(event, () => editor.undo())
    const handle = event.target.closest?.(".handle")
    if (!handle || event.ctrlKey || event.metaKey || event.altKey) return
    const { kind } = handle.dataset, index = Number(handle.dataset.index), line = kind === "outline" || kind === "point"
    if (ARROWS[event.key]) this.#take(event, () => this.#nudge(kind, index, ARROWS[event.key], event.shiftKey ? 10 : 1))
    else if (line && ["Delete", "Backspace"].includes(event.key)) this.#take(event, () => editor.remove(kind, index))
    else if (line && ["Insert", "+"].includes(event.key)) this.#take(event, () => this.#insertAfter(kind, index))
    else if (kind === "aim" && ["Enter", " "].includes(event.key)) this.#take(event, () => editor.tap(editor.marks.aim[0], true))
  }

  #take(event, act) {
    event.preventDefault()
    event.stopPropagation()
    act()
  }

  #nudge(kind, index, way, step) {
    const { editor } = this
    if (!editor.timer && kind !== "aim") editor.remember(editor.snapshot())
    editor.shift(kind, index, editor.snapshot(), way.map(v => v * step * editor.view.scale))
    const at = placeOf(editor.marks, kind, index)
    editor.view.reveal(at)
    editor.draw()
    if (kind !== "card") editor.drawing.magnify(editor.marks, at)
    editor.commitSoon(`${said(editor.marks, kind, index)}.`)
  }

  #insertAfter(kind, index) {
    const { editor } = this
    editor.flush()
    editor.add(kind, kind === "outline" ? index : Math.min(index, editor.marks.path.length - 2))
    editor.focusPicked()
  }

  #focus(handle) {
    const { editor } = this
    if (!handle?.dataset.kind || editor.hands.gesture) return
    editor.picked = handle.dataset.testid
    editor.view.reveal(placeOf(editor.marks, ...editor.pickedMark))
    editor.draw()
  }

  #zoom(zoom) {
    const { editor } = this, { view } = editor
    if (!zoom) return
    view.setZoom(zoom, editor.picked ? placeOf(editor.marks, ...editor.pickedMark) : plus(view.corner, view.shown, 0.5))
    editor.draw()
  }
}
