// Holds the marks between the photo, the person and Python.
// Python's marks are taken only when `rev` changes: an answer to an older run must never pull a point back.
const PAUSE = 400, REACH = 22, UNDO_LIMIT = 100

class Editor {
  constructor(root) {
    this.root = root
    this.find = selector => root.querySelector(selector)
    this.stage = this.find(".stage")
    this.range = this.find(".width input")
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
    this.stage.setAttribute("aria-label", data.label)
    if (this.url !== data.url) this.#show(data)
    if (this.rev === data.rev) return
    this.rev = data.rev
    clearTimeout(this.timer)
    this.timer = null
    this.hands.gesture = null
    this.past = []
    this.picked = null
    const keep = p => this.keepInside(p)
    this.marks = { corners: data.corners.map(keep), path: data.path.map(keep), width: data.width }
    const short = Math.min(...data.size)
    Object.assign(this.range, { min: Math.max(4, Math.round(short * 0.01)), max: Math.round(short * 0.5) })
    this.rebuild()
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
    const tidy = v => Math.round(v * 100) / 100
    const { corners, path, width } = this.marks
    this.setStateValue("value", {
      rev: this.rev, corners: corners.map(p => p.map(tidy)), path: path.map(p => p.map(tidy)), width: tidy(width),
    })
    this.find(".live").textContent = words
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
    this.marks = before
    this.rebuild()
    this.commit("Undone.")
  }

  insert(segment, at) {
    const { path } = this.marks
    path.splice(segment + 1, 0, at ?? plus(path[segment], minus(path[segment + 1], path[segment]), 0.5))
    this.picked = `point-${segment + 1}`
    this.rebuild()
  }

  remove(index) {
    if (this.marks.path.length <= 2) return
    this.flush()
    this.remember(this.snapshot())
    this.marks.path.splice(index, 1)
    this.picked = `point-${Math.min(index, this.marks.path.length - 1)}`
    this.rebuild()
    this.focusPicked()
    this.commit("Point removed.")
  }

  /** Moves what is named by `vector`, from where it was in `start`, and keeps it inside the photo. */
  shift(kind, index, start, vector) {
    if (kind === "corner") this.marks.corners[index] = this.keepInside(plus(start.corners[index], vector))
    if (kind === "point") this.marks.path[index] = this.keepInside(plus(start.path[index], vector))
    if (kind === "card") {
      const room = [0, 1].map(i => {
        const all = start.corners.map(p => p[i])
        return clamp(vector[i], -Math.min(...all), this.view.size[i] - Math.max(...all))
      })
      this.marks.corners = start.corners.map(p => plus(p, room))
    }
  }

  keepInside(p) {
    return p.map((v, i) => clamp(v, 0, this.view.size[i]))
  }

  setWidth(width) {
    this.marks.width = clamp(width, Number(this.range.min), Number(this.range.max))
  }

  // --- drawing -----------------------------------------------------------------------------------------------------
  rebuild() {
    const focused = this.root.getRootNode().activeElement?.dataset?.testid
    this.drawing.build(this.marks)
    this.draw()
    if (focused) this.drawing.parts.get(focused)?.focus({ preventScroll: true })
  }

  draw() {
    this.drawing.draw(this.marks, this.picked)
    this.range.value = this.marks.width
    this.range.setAttribute("aria-valuetext", `${Math.round(this.marks.width)} pixels`)
    this.find(".undo").disabled = !this.past.length
    this.find(".remove").disabled = !this.picked?.startsWith("point") || this.marks.path.length <= 2
    for (const button of this.root.querySelectorAll("[data-zoom]")) {
      button.setAttribute("aria-pressed", String(Number(button.dataset.zoom) === this.view.zoom))
    }
  }

  focusPicked() {
    this.drawing.parts.get(this.picked)?.focus({ preventScroll: true })
  }

  place(kind, index) {
    return kind === "corner" ? this.marks.corners[index] : kind === "point" ? this.marks.path[index] : centre(this.marks.corners)
  }

  /** The handle nearest to a point within a finger's reach; targets may overlap, so the nearest wins. */
  pick(at) {
    const k = this.view.scale, { corners, path } = this.marks
    const near = [
      ...corners.map((p, i) => ["corner", i, distance(p, at)]),
      ...path.map((p, i) => ["point", i, distance(p, at)]),
      ["card", 0, distance(centre(corners), at)],
      ["side", 0, distance(widthSpot(this.marks).at, at) + 4 * k],
      ...this.drawing.plus.map((group, i) => ["add", i, group.style.display ? Infinity
        : distance(plus(path[i], minus(path[i + 1], path[i]), 0.5), at) + 4 * k]),
    ].filter(target => target[2] <= REACH * k).sort((a, b) => a[2] - b[2])[0]
    return near ?? (inside(corners, at) ? ["card", 0] : null)
  }
}
