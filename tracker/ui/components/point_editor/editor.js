// Holds the marks between the photo, the person and Python.
// Python's marks are taken only when `rev` changes: an answer to an older run must never pull a point back.
const PAUSE = 400, REACH = 22, UNDO_LIMIT = 100
const PICKED_FIRST = 4 // CSS pixels by which a handle that is picked already counts as nearer

class Editor {
  constructor(root) {
    this.root = root
    this.find = selector => root.querySelector(selector)
    this.stage = this.find(".stage")
    this.view = new View(this.stage)
    this.drawing = new Drawing(root, this.view)
    this.past = []
    this.picked = null
    this.hands = new Hands(this)
    new Controls(this)
    new ResizeObserver(() => this.marks && this.draw()).observe(this.stage)
  }

  // --- from Python -------------------------------------------------------------------------------------------------
  update({ data, setStateValue }) {
    this.setStateValue = setStateValue
    Object.assign(this, { bands: data.bands, fewest: data.fewest, most: data.most })
    this.stage.setAttribute("aria-label", data.label)
    if (this.url !== data.url) this.#show(data)
    if (this.rev === data.rev) return this.#askForCard(data.tap_card)
    this.rev = data.rev
    clearTimeout(this.timer)
    this.timer = null
    this.hands.drop()
    const answered = this.waits
    if (answered) this.view.setZoom(1, [0, 0]) // the whole outline is to be looked at
    else this.past = [] // after an answer the taps, and what stood there before them, can still be brought back
    this.waits = ""
    this.near = null
    this.picked = answered === "card" ? "card-0" : null // where the keyboard goes on
    this.marks = marksFrom(data)
    this.sent = JSON.stringify(this.value)
    this.rebuild()
    if (answered === "hair") this.say(this.marks.outline.length ? "The hair is outlined." : "")
  }

  /** Begins or ends asking for a tap inside the card, with the photo in view. */
  #askForCard(tapsCard) {
    if (!this.marks || this.marks.tapsCard === tapsCard) return
    this.flush()
    this.marks.tapsCard = tapsCard
    this.rebuild()
    if (!tapsCard || !this.asksForCard) return
    this.find(".frame").scrollIntoView({ block: "nearest" })
    this.drawing.parts.get("aim-0").focus({ preventScroll: true })
    this.say(this.asking)
  }

  #show(data) {
    this.url = data.url
    this.root.style.setProperty("--ratio", data.size[0] / data.size[1])
    for (const image of this.root.querySelectorAll("image")) {
      for (const [name, value] of [["href", data.url], ["width", data.size[0]], ["height", data.size[1]]]) image.setAttribute(name, value)
    }
    this.view.setSize(data.size)
  }

  // --- to Python ---------------------------------------------------------------------------------------------------
  commit(words = "") {
    clearTimeout(this.timer)
    this.timer = null
    this.drawing.hideLoupe()
    const { value } = this, text = JSON.stringify(value)
    if (text !== this.sent) { // a tap or the cross may have moved, of which Python is told nothing yet
      this.sent = text
      if (!this.near) this.waits = asksForOutline(this.marks) ? "hair" : ""
      this.setStateValue("value", value)
      this.draw()
    }
    this.say(words)
  }

  /** To be read aloud. */
  say(words) {
    this.find(".live").textContent = words
  }

  get value() {
    // a drag while Python looks for the card stops the search, so what was tapped is sent until there is an answer
    return { rev: this.rev, ...marksTo(this.marks), ...(this.near && { near: this.near }) }
  }

  commitSoon(words) {
    clearTimeout(this.timer)
    this.pending = words
    this.timer = setTimeout(() => this.commit(words), PAUSE)
  }

  flush() {
    if (this.timer) this.commit(this.pending)
  }

  // --- changes -----------------------------------------------------------------------------------------------------
  snapshot() {
    return structuredClone(this.marks)
  }

  remember(before) {
    this.past.push(before)
    if (this.past.length > UNDO_LIMIT) this.past.shift()
  }

  undo() {
    this.flush()
    const before = this.past.pop()
    if (!before) return
    this.marks = { ...before, tapsCard: this.marks.tapsCard }
    this.rebuild()
    this.commit(`Undone. ${this.asking}`)
  }

  /** A tap in the photo: where the card is, or a point of the hair. */
  tap(at, byKey = false) {
    this.flush()
    if (this.asksForCard) this.#tapCard(at)
    else this.#tapHair(at, byKey)
  }

  /** A point inside the card, round which Python looks for it. */
  #tapCard(at) {
    this.remember(this.snapshot())
    this.waits = "card"
    this.near = tidy([keepInside(at, this.view.size)])[0]
    this.commit("Looking for the card.")
  }

  /** One tap on the way to three; the third is a path, along which Python looks for the hair. */
  #tapHair(at, byKey) {
    const near = this.marks.taps.findIndex(p => distance(p, at) < TAP_REACH * this.view.scale)
    if (near >= 0) return this.say(`Too near to the ${TAPS[near][0]}. ${this.asking}`)
    this.remember(this.snapshot())
    const { marks } = this, name = TAPS[marks.taps.length][0]
    marks.taps.push(keepInside(at, this.view.size))
    if (marks.taps.length === TAPS.length) Object.assign(marks, { path: marks.taps, taps: [] })
    if (!byKey || !isTapping(marks)) this.picked = isTapping(marks) ? `tap-${marks.taps.length - 1}` : "point-2"
    this.rebuild()
    this.commit(`${name[0].toUpperCase()}${name.slice(1)} set. ${isTapping(marks) ? this.asking : "Looking for the hair."}`)
  }

  startAgain() {
    this.flush()
    this.remember(this.snapshot())
    this.marks = started(this.marks)
    this.picked = null
    this.view.setZoom(1, [0, 0])
    this.rebuild()
    this.drawing.parts.get("aim-0").focus({ preventScroll: true }) // the button can do no more
    this.commit(`Started again. ${this.asking}`)
  }

  insert(kind, segment, at) {
    const points = this.marks[LISTS[kind]]
    points.splice(segment + 1, 0, at ?? between(points[segment], points[(segment + 1) % points.length]))
    this.picked = `${kind}-${segment + 1}`
    this.rebuild()
  }

  add(kind, segment, at) {
    const full = this.marks[LISTS[kind]].length >= this.most
    if (full) return this.say(`There are ${this.most} points already, which is the most. Remove one first.`)
    this.remember(this.snapshot())
    this.insert(kind, segment, at)
    this.commit("Point added.")
  }

  canRemove(kind, index) {
    if (kind === "outline") return this.marks.outline.length > this.fewest
    return kind === "point" && !isMain(this.marks, kind, index)
  }

  remove(kind, index) {
    if (!this.canRemove(kind, index)) return
    this.flush()
    this.remember(this.snapshot())
    const points = this.marks[LISTS[kind]]
    points.splice(index, 1)
    this.picked = `${kind}-${Math.min(index, points.length - 1)}`
    this.rebuild()
    this.focusPicked()
    this.commit("Point removed.")
  }

  /** Moves what is named by `vector`, from where it was in `start`, and keeps it inside the photo. */
  shift(kind, index, start, vector) {
    const { size } = this.view
    if (kind === "card") {
      const room = [0, 1].map(i => {
        const all = start.corners.map(p => p[i])
        return clamp(vector[i], -Math.min(...all), size[i] - Math.max(...all))
      })
      this.marks.corners = start.corners.map(p => plus(p, room))
    } else this.marks[LISTS[kind]][index] = keepInside(plus(start[LISTS[kind]][index], vector), size)
  }

  // --- drawing -----------------------------------------------------------------------------------------------------
  rebuild() {
    const focused = this.root.getRootNode().activeElement?.dataset?.testid
    this.drawing.build(this.marks, this.most)
    if (this.picked && !this.drawing.parts.has(this.picked)) this.picked = null
    this.draw()
    const { parts } = this.drawing
    if (focused) (parts.get(this.picked) ?? parts.get(focused) ?? parts.get("point-0") ?? parts.get("aim-0")).focus({ preventScroll: true })
  }

  draw() {
    this.drawing.draw(this.marks, this.bands, this.picked)
    this.find(".undo").disabled = !this.past.length
    this.find(".remove").disabled = !this.picked || !this.canRemove(...this.pickedMark)
    this.find(".again").disabled = isTapping(this.marks) && !this.marks.taps.length
    const line = this.waits ? `Looking for the ${this.waits}` : this.asking
    this.find(".asks").textContent = line
    this.find(".asks").hidden = !line
    this.stage.classList.toggle("tapping", this.asksForCard || isTapping(this.marks))
    for (const button of this.root.querySelectorAll("[data-zoom]")) {
      button.setAttribute("aria-pressed", String(Number(button.dataset.zoom) === this.view.zoom))
    }
  }

  /** What the person is to do next, where card or hair is not marked. */
  get asking() {
    if (this.asksForCard) return "Tap inside the card"
    return isTapping(this.marks) ? `Tap ${TAPS[this.marks.taps.length][1]}` : ""
  }

  get asksForCard() {
    return this.marks.tapsCard
  }

  /** Kind and index of what is picked. */
  get pickedMark() {
    const [kind, index] = this.picked.split("-")
    return [kind, Number(index)]
  }

  focusPicked() {
    this.drawing.parts.get(this.picked)?.focus({ preventScroll: true })
  }

  /** The handle nearest to a point within a finger's reach; targets may overlap, so the nearest wins. */
  pick(at) {
    const k = this.view.scale, { outline, corners } = this.marks
    const far = (kind, index, p) => distance(p, at) - (this.picked === `${kind}-${index}` ? PICKED_FIRST * k : 0)
    const near = [
      ...handlesOf(this.marks).filter(([kind]) => kind !== "aim")
        .map(([kind, index]) => [kind, index, placeOf(this.marks, kind, index)]),
      ...this.drawing.plus.flatMap((group, i) =>
        group.style.display ? [] : [["add", i, between(outline[i], outline[(i + 1) % outline.length])]]),
    ].map(([kind, index, p]) => [kind, index, far(kind, index, p) + (kind === "add" ? PICKED_FIRST * k : 0), distance(p, at)])
      .filter(target => target[3] <= REACH * k).sort((a, b) => a[2] - b[2])[0]
    return near ?? (inside(corners, at) ? ["card", 0] : null)
  }
}
