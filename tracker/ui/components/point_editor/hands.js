// Fingers and mice on the photo: what is nearest to the touch moves, a bare photo scrolls the page or is panned.
// While the card or the hair is asked for, a short touch that stays where it is says where it is: for the card even a
// touch on a mark, which may lie over the card.
const TAP_REACH = 10, TAP_TIME = 500

class Hands {
  constructor(editor) {
    this.editor = editor
    this.stage = editor.stage
    this.gesture = null
    this.tap = null
    const on = (name, act, options) => this.stage.addEventListener(name, act, options)
    on("pointerdown", event => this.down(event))
    on("pointermove", event => this.move(event))
    for (const name of ["pointerup", "pointercancel"]) on(name, event => this.up(event))
    // Browsers ignore touch-action on parts of a drawing. Refusing the touch keeps the page still while a mark is moved;
    // a touch on the bare photo scrolls the page as ever.
    on("touchstart", event => this.gesture && event.preventDefault(), { passive: false })
    on("mousedown", event => this.gesture && event.preventDefault()) // or it would take the focus away again
    on("pointerleave", () => editor.marks && this.#point([-Infinity, -Infinity]))
    on("dblclick", event => editor.marks && this.addWhereClicked(event))
  }

  down(event) {
    const { editor } = this, { view } = editor
    this.tap = null // a second finger makes it no tap
    if (event.button || this.gesture || !editor.marks || !event.isPrimary) return
    editor.flush()
    const at = view.toPhoto(event), from = [event.clientX, event.clientY]
    const picked = editor.pick(at), bare = [view.zoom > 1 ? "pan" : null, 0]
    const [kind, index] = editor.asksForCard && picked?.[0] === "add" ? bare : picked ?? bare
    if (editor.asksForCard || (isTapping(editor.marks) && (!kind || kind === "pan"))) {
      this.tap = { id: event.pointerId, at, from, latest: event.pointerType === "touch" ? event.timeStamp + TAP_TIME : Infinity }
    }
    if (!kind) return
    event.preventDefault()
    const before = editor.snapshot()
    this.gesture = { kind, index, before, start: before, id: event.pointerId, from, corner: view.corner, moved: false,
                     still: this.tap ? TAP_REACH : event.pointerType === "mouse" ? 1 : 3 }
    if (kind === "add") this.#begin(index)
    this.stage.setPointerCapture(event.pointerId)
    this.stage.classList.add("busy")
    if (kind === "pan") return
    editor.picked = `${this.gesture.kind}-${this.gesture.index}`
    editor.focusPicked()
    editor.draw()
    this.#magnify()
  }

  /** A new point, which the same touch may go on to move. */
  #begin(segment) {
    this.editor.insert("outline", segment)
    Object.assign(this.gesture, { kind: "outline", index: segment + 1, start: this.editor.snapshot(), added: true })
  }

  move(event) {
    const g = this.gesture, { editor } = this, { view } = editor
    if (!g && event.pointerType === "mouse" && editor.marks) this.#point(view.toPhoto(event))
    if (!g || event.pointerId !== g.id) return
    const screen = minus([event.clientX, event.clientY], g.from)
    if (!g.moved && Math.hypot(...screen) < g.still) return
    g.moved = true
    const vector = screen.map(v => v * view.scale)
    if (g.kind === "pan") view.moveTo(minus(g.corner, vector))
    else editor.shift(g.kind, g.index, g.start, vector)
    editor.draw()
    this.#magnify()
  }

  /** Shows which handle a press would take; their targets overlap, so the topmost one need not be it. */
  #point(at) {
    const [kind, index] = this.editor.pick(at) ?? []
    for (const [name, group] of this.editor.drawing.parts) group.classList.toggle("near", name === `${kind}-${index}`)
  }

  #magnify() {
    const { kind, index } = this.gesture, { editor } = this
    if (kind !== "pan" && kind !== "card") editor.drawing.magnify(editor.marks, placeOf(editor.marks, kind, index))
  }

  up(event) {
    const g = this.gesture, tap = this.#tapped(event), { editor } = this
    if (g && event.pointerId === g.id) {
      this.drop()
      if (g.kind !== "pan" && (g.moved || g.added)) {
        editor.remember(g.before)
        editor.draw()
        editor.commit(g.added ? "Point added." : "")
      }
    }
    if (tap) editor.tap(tap.at)
  }

  /** The tap that this event ends, if it was one: neither a scroll nor a rest of the hand. */
  #tapped(event) {
    const { tap } = this
    this.tap = null
    if (!tap || event.type !== "pointerup" || event.pointerId !== tap.id || event.timeStamp > tap.latest) return null
    return distance([event.clientX, event.clientY], tap.from) < TAP_REACH ? tap : null
  }

  /** Lets go of what is held. */
  drop() {
    this.gesture = null
    this.stage.classList.remove("busy")
    this.editor.drawing.hideLoupe()
  }

  addWhereClicked(event) {
    const { editor } = this, { outline, path } = editor.marks, reach = REACH * editor.view.scale
    const at = editor.view.toPhoto(event)
    const [kind, near] = [["outline", ring(outline)], ["point", path]].filter(([, line]) => line.length > 1)
      .map(([kind, line]) => [kind, nearestSegment(line, at)]).sort((a, b) => a[1].distance - b[1].distance)[0] ?? []
    if (!kind || near.distance > reach || [...outline, ...path].some(p => distance(p, near.at) < reach)) return
    editor.add(kind, near.segment, near.at)
  }
}
