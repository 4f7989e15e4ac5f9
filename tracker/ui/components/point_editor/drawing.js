// Draws the marks. Shapes tell them apart: squares for the card, circles for the path, a double arrow for its width.
const SVG = "http://www.w3.org/2000/svg"
const CORNER_NAMES = ["card top left", "card top right", "card bottom right", "card bottom left"]
const WIDTH_AT = 0.3, LOUPE = 132, LOUPE_TIMES = 3

function make(tag, attributes, parent) {
  const element = document.createElementNS(SVG, tag)
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value)
  parent?.appendChild(element)
  return element
}

function pointName(kind, index, path) {
  if (kind === "corner") return CORNER_NAMES[index]
  if (kind === "card") return "whole card"
  return index === 0 ? "root" : index === path.length - 1 ? "tip" : `point ${index + 1} of ${path.length}`
}

/** Where the width's handle sits: beside the path, half the width away. */
function widthSpot(marks) {
  const { at, direction } = along(marks.path, WIDTH_AT)
  return { base: at, side: normal(direction), at: plus(at, normal(direction), marks.width / 2), direction }
}

class Drawing {
  constructor(root, view) {
    this.view = view
    this.stage = root.querySelector(".stage")
    this.lines = this.stage.querySelector(".lines")
    this.adders = this.stage.querySelector(".adders")
    this.handles = this.stage.querySelector(".handles")
    this.loupe = root.querySelector(".loupe")
    const twice = name => ["under", "over"].map(layer => make("path", { class: `${layer} ${name}` }, this.lines))
    this.strip = twice("strip")
    this.bands = BANDS.map(([name]) => twice(`band ${name}`))
    this.path = twice("path")
    this.card = twice("card")
    this.word = make("text", { dy: "0.35em" }, this.lines)
  }

  /** Makes the handles anew; their number or order has changed. */
  build(marks) {
    this.handles.replaceChildren()
    this.adders.replaceChildren()
    this.parts = new Map()
    const order = [...marks.corners.map((_, i) => ["corner", i]), ...marks.path.map((_, i) => ["point", i]), ["card", 0]]
    for (const [kind, index] of order) this.parts.set(`${kind}-${index}`, this.#handle(kind, index, marks.path))
    this.width = this.#widthHandle()
    this.plus = marks.path.slice(1).map((_, i) => this.#adder(i))
  }

  #group(parent, name, id) {
    const group = make("g", { class: name, "data-testid": id }, parent)
    make("circle", { class: "hit", r: 22 }, group)
    return group
  }

  #handle(kind, index, path) {
    const group = this.#group(this.handles, `handle ${kind}`, `${kind}-${index}`)
    for (const [name, value] of [["tabindex", 0], ["role", "button"], ["data-kind", kind], ["data-index", index]]) group.setAttribute(name, value)
    const end = kind === "point" && (index === 0 || index === path.length - 1)
    const shape = (name, r) => kind === "corner"
      ? make("rect", { class: name, x: -r, y: -r, width: 2 * r, height: 2 * r }, group)
      : make("circle", { class: name, r }, group)
    if (kind === "card") {
      for (const name of ["shade edge", "glyph ring"]) make("path", { class: name, d: "M-9 0H9M0-9V9M-4-6L0-10 4-6M-4 6L0 10 4 6M-6-4L-10 0-6 4M6-4L10 0 6 4" }, group)
      for (const name of ["halo", "focus"]) make("circle", { class: name, r: 17 }, group)
    } else {
      const r = kind === "corner" ? 8 : end ? 11 : 7
      for (const [name, more] of [["edge", 0], ["ring", 0], ["halo", 6], ["focus", 6]]) shape(name, r + more)
      make("circle", { class: "dot", r: 2 }, group)
    }
    const always = end || (kind === "corner" && index === 0)
    const text = make("text", { class: always ? "" : "quiet" }, group)
    if (kind !== "card") text.textContent = kind === "point" && !end ? "" : pointName(kind, index, path)
    return group
  }

  #widthHandle() {
    const group = this.#group(this.handles, "handle side", "width")
    group.setAttribute("aria-hidden", "true") // the range below the photo does the same for keyboards
    make("circle", { class: "disc", r: 15 }, group)
    make("path", { class: "glyph", d: "M0-10V10M-4.5-6L0-11 4.5-6M-4.5 6L0 11 4.5 6" }, group)
    return group
  }

  #adder(index) {
    const group = this.#group(this.adders, "adder", `add-${index}`)
    make("circle", { class: "disc", r: 11 }, group)
    make("path", { class: "glyph", d: "M-5.5 0H5.5M0-5.5V5.5" }, group)
    return group
  }

  draw(marks, picked) {
    const { corners, path, width } = marks
    const k = this.view.scale
    for (const layer of this.card) layer.setAttribute("d", outline(corners, true))
    for (const layer of this.strip) layer.setAttribute("d", outline(ribbon(path, width), true))
    for (const layer of this.path) layer.setAttribute("d", outline(path, false))
    BANDS.forEach(([, from, to], i) => {
      for (const layer of this.bands[i]) layer.setAttribute("d", outline(ribbon(piece(path, from, to), width), true))
    })
    this.#middleWord(marks, k)
    const middle = centre(corners)
    corners.forEach((p, i) => this.#place("corner", i, p, minus(p, middle), marks, k))
    path.forEach((p, i) => this.#place("point", i, p, minus(p, path[i ? i - 1 : 1]), marks, k))
    this.#place("card", 0, middle, [0, 1], marks, k)
    this.plus.forEach((group, i) => {
      const room = distance(path[i], path[i + 1]) / k > 84
      group.style.display = room ? "" : "none"
      this.#put(group, plus(path[i], minus(path[i + 1], path[i]), 0.5), k)
    })
    const spot = widthSpot(marks)
    this.#put(this.width, spot.at, k, (Math.atan2(spot.direction[1], spot.direction[0]) * 180) / Math.PI)
    for (const [name, group] of this.parts) group.classList.toggle("picked", name === picked)
  }

  #put(group, p, k, turn = 0) {
    group.setAttribute("transform", `translate(${p[0]} ${p[1]}) scale(${k}) rotate(${turn})`)
  }

  #place(kind, index, p, away, marks, k) {
    const group = this.parts.get(`${kind}-${index}`)
    this.#put(group, p, k)
    const where = kind === "card" ? "" : `: ${Math.round(p[0])} across, ${Math.round(p[1])} down`
    group.setAttribute("aria-label", `${pointName(kind, index, marks.path)}${where}. Arrow keys move it.`)
    // above or below, but the card's right corners beside: their words would meet those of the left ones
    const beside = kind === "corner" ? index === 1 || index === 2 : Math.abs(unit(away)[1]) < 0.45
    this.#placeWord(group.querySelector("text"), p, unit(away), beside)
  }

  /** Beside its point, away from the shape, and never outside the picture. */
  #placeWord(text, p, away, beside) {
    const long = text.textContent.length * 8.4 + 14
    const [x, y] = this.view.toStage(p), { width, height } = this.stage.getBoundingClientRect()
    text.style.display = x < 0 || y < 0 || x > width || y > height ? "none" : ""
    let side = away[0] < 0 ? -1 : 1
    const reach = beside ? long + 12 : long - 12
    if (side < 0 && x < reach) side = 1
    if (side > 0 && x > width - reach) side = -1
    text.setAttribute("text-anchor", side > 0 ? "start" : "end")
    text.setAttribute("x", side * (beside ? 22 : -8))
    text.setAttribute("y", clamp(beside ? 5 : away[1] < 0 ? -20 : 31, 18 - y, height - y - 6))
  }

  /** Beside the middle band, on the side away from the card if there is room. */
  #middleWord(marks, k) {
    const { at, direction } = along(marks.path, 0.5), side = normal(direction)
    const away = dot(side, minus(at, centre(marks.corners))) < 0 ? -1 : 1
    const width = this.stage.getBoundingClientRect().width
    const spots = [away, -away].flatMap(turn => ["mid-lengths", "mid"].map(word => {
      const p = plus(at, side, turn * (marks.width / 2 + 12 * k)), left = side[0] * turn < 0
      const [x] = this.view.toStage(p), long = word.length * 8.4 + 10
      return { p, left, word, fits: left ? x > long : x < width - long }
    }))
    const spot = spots.find(one => one.fits)
    this.word.style.display = spot ? "" : "none"
    if (!spot) return
    this.word.textContent = spot.word
    this.word.setAttribute("text-anchor", spot.left ? "end" : "start")
    this.word.setAttribute("transform", `translate(${spot.p[0]} ${spot.p[1]}) scale(${k})`)
  }

  /** The magnifier, in the upper corner away from the point and always on the screen. */
  magnify(marks, p) {
    const half = (LOUPE / LOUPE_TIMES / 2) * this.view.scale
    this.loupe.setAttribute("viewBox", [p[0] - half, p[1] - half, 2 * half, 2 * half].join(" "))
    const lines = outline(marks.corners, true) + outline(marks.path, false)
    const gap = half * 0.16 // the very point stays open
    const cross = [[-half, -gap], [gap, half]].map(([from, to]) =>
      `M${p[0] + from} ${p[1]}H${p[0] + to}M${p[0]} ${p[1] + from}V${p[1] + to}`).join("")
    for (const layer of this.loupe.querySelectorAll("path")) {
      layer.setAttribute("d", layer.classList.contains("cross") ? cross : lines)
    }
    const frame = this.loupe.parentElement.getBoundingClientRect(), stage = this.stage.getBoundingClientRect()
    const [x] = this.view.toStage(p)
    const left = x > stage.width / 2 ? 8 : frame.width - LOUPE - 14
    const top = clamp(72 - frame.top, 8, Math.max(8, frame.height - LOUPE - 14))
    Object.assign(this.loupe.style, { left: `${left}px`, top: `${top}px` })
    this.loupe.classList.add("on")
  }

  hideLoupe() {
    this.loupe.classList.remove("on")
  }
}
