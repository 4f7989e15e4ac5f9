// Fingers and mice on the photo: what is nearest to the touch moves, a bare photo scrolls the page or is panned.
class Hands {
  constructor(editor) {
    this.editor = editor
    this.stage = editor.stage
    this.gesture = null
    const on = (name, act, options) => this.stage.addEventListener(name, act, options)
    on("pointerdown", event => this.down(event))
    on("pointermove", event => this.move(event))
    for (const name of ["pointerup", "pointercancel"]) on(name, event => this.up(event))
    // Browsers ignore touch-action on parts of a drawing. Refusing the touch keeps the page still while a mark is moved;
    // a touch on the bare photo scrolls the page as ever.
    on("touchstart", event => this.gesture && event.preventDefault(), { passive: false })
    on("mousedown", event => this.gesture && event.preventDefault()) // or it would take the focus away again
    on("dblclick", event => this.addWhereClicked(event))
  }

  down(event) {
    const { editor } = this, { view } = editor
    if (event.button || this.gesture || !editor.marks) return
    editor.flush()
    const [kind, index] = editor.pick(view.toPhoto(event)) ?? [view.zoom > 1 ? "pan" : null, 0]
    if (!kind) return
    event.preventDefault()
    const before = editor.snapshot()
    this.gesture = { kind, index, before, start: before, id: event.pointerId, from: [event.clientX, event.clientY],
                     corner: view.corner, moved: false, still: event.pointerType === "mouse" ? 1 : 3 }
    if (kind === "add") this.#begin(index)
    this.stage.setPointerCapture(event.pointerId)
    this.stage.classList.add("busy")
    if (kind === "pan") return
    editor.picked = kind === "side" ? null : `${this.gesture.kind}-${this.gesture.index}`
    editor.focusPicked()
    editor.draw()
    this.#magnify()
  }

  /** A new point, which the same touch may go on to move. */
  #begin(segment) {
    this.editor.insert(segment)
    Object.assign(this.gesture, { kind: "point", index: segment + 1, start: this.editor.snapshot(), added: true })
  }

  move(event) {
    const g = this.gesture, { editor } = this, { view } = editor
    if (!g || event.pointerId !== g.id) return
    const screen = minus([event.clientX, event.clientY], g.from)
    if (!g.moved && Math.hypot(...screen) < g.still) return
    g.moved = true
    const vector = screen.map(v => v * view.scale)
    if (g.kind === "pan") view.moveTo(minus(g.corner, vector))
    else if (g.kind === "side") this.#dragWidth(g, vector)
    else editor.shift(g.kind, g.index, g.start, vector)
    editor.draw()
    this.#magnify()
  }

  #dragWidth(g, vector) {
    const spot = widthSpot(g.start)
    this.editor.setWidth(2 * Math.abs(dot(minus(plus(spot.at, vector), spot.base), spot.side)))
  }

  #magnify() {
    const { kind, index } = this.gesture, { editor } = this
    if (kind === "corner" || kind === "point") editor.drawing.magnify(editor.marks, editor.place(kind, index))
  }

  up(event) {
    const g = this.gesture, { editor } = this
    if (!g || event.pointerId !== g.id) return
    this.gesture = null
    this.stage.classList.remove("busy")
    editor.drawing.hideLoupe()
    if (g.kind === "pan" || !(g.moved || g.added)) return
    editor.remember(g.before)
    editor.draw()
    editor.commit(g.added ? "Point added." : "")
  }

  addWhereClicked(event) {
    const { editor } = this, reach = REACH * editor.view.scale
    const near = nearestSegment(editor.marks.path, editor.view.toPhoto(event))
    if (near.distance > reach || editor.marks.path.some(p => distance(p, near.at) < reach)) return
    editor.remember(editor.snapshot())
    editor.insert(near.segment, near.at)
    editor.commit("Point added.")
  }
}
