// Draws the marks. Shapes tell them apart: squares for the card, rings for the outline, dots for the axis between its ends.
const SVG = "http://www.w3.org/2000/svg"
const LOUPE = 132, LOUPE_TIMES = 3, ROOM_FOR_PLUS = 76, LETTER = 8.4
const RADIUS = { corner: 7, outline: 6, point: 4.5, main: 10 }
const ARROWS_OUT = "M-9 0H9M0-9V9M-4-6L0-10 4-6M-4 6L0 10 4 6M-6-4L-10 0-6 4M6-4L10 0 6 4"
const CROSS = "M-20 0H-5M5 0H20M0-20V-5M0 5V20"

function make(tag, attributes, parent) {
  const element = document.createElementNS(SVG, tag)
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value)
  parent?.appendChild(element)
  return element
}

class Drawing {
  constructor(root, view) {
    this.view = view
    this.stage = root.querySelector(".stage")
    this.lines = this.stage.querySelector(".lines")
    this.adders = this.stage.querySelector(".adders")
    this.handles = this.stage.querySelector(".handles")
    this.loupe = root.querySelector(".loupe")
    this.parts = new Map()
    const twice = name => ["under", "over"].map(layer => make("path", { class: `${layer} ${name}` }, this.lines))
    this.bands = [0, 1, 2].map(i => ({ area: make("path", { class: "area" }, this.lines), lines: twice(`band band-${i}`) }))
    this.outline = twice("outline")
    this.axis = twice("axis")
    this.card = twice("card")
    for (const band of this.bands) band.word = make("text", {}, this.lines)
  }

  /** Makes the handles anew; their number or order has changed. */
  build(marks, most) {
    this.handles.replaceChildren()
    this.adders.replaceChildren()
    this.parts = new Map(handlesOf(marks).map(([kind, index]) => [`${kind}-${index}`, this.#handle(kind, index, marks)]))
    this.plus = marks.outline.length < most ? marks.outline.map((_, i) => this.#adder(i)) : []
  }

  #group(parent, name, id) {
    const group = make("g", { class: name, "data-testid": id }, parent)
    make("circle", { class: "hit", r: 22 }, group)
    return group
  }

  #handle(kind, index, marks) {
    const main = isMain(marks, kind, index), word = wordOf(marks, kind, index)
    const group = this.#group(this.handles, `handle ${kind}${main ? " main" : ""}`, `${kind}-${index}`)
    for (const [name, value] of [["tabindex", 0], ["role", "button"], ["data-kind", kind], ["data-index", index]]) group.setAttribute(name, value)
    const shape = (name, r) => kind === "corner"
      ? make("rect", { class: name, x: -r, y: -r, width: 2 * r, height: 2 * r }, group)
      : make("circle", { class: name, r }, group)
    if (kind === "card" || kind === "aim") {
      for (const name of ["shade edge", "glyph ring"]) make("path", { class: name, d: kind === "card" ? ARROWS_OUT : CROSS }, group)
      for (const name of ["halo", "focus"]) shape(name, kind === "card" ? 17 : 25)
    } else {
      const r = RADIUS[main ? "main" : kind]
      for (const [name, more] of [["edge", 0], ["ring", 0], ["halo", 6], ["focus", 6]]) shape(name, r + more)
      if (main || kind === "corner") make("circle", { class: "dot", r: 2 }, group)
    }
    const text = make("text", { class: kind === "corner" && index ? "quiet" : "" }, group)
    text.textContent = word
    return group
  }

  #adder(index) {
    const group = this.#group(this.adders, "adder", `add-${index}`)
    make("circle", { class: "disc", r: 8 }, group)
    make("path", { class: "glyph", d: "M-4.5 0H4.5M0-4.5V4.5" }, group)
    return group
  }

  draw(marks, bands, picked) {
    const { corners, path, outline, taps } = marks
    const k = this.view.scale
    const show = (layers, d) => layers.forEach(layer => layer.setAttribute("d", d))
    show(this.card, trace(corners, true))
    show(this.outline, trace(outline, true))
    show(this.axis, trace(path.length ? path : taps, false))
    this.#drawBands(marks, bands, k)
    for (const [kind, index] of handlesOf(marks)) this.#place(kind, index, marks, k)
    this.plus.forEach((group, i) => {
      const next = outline[(i + 1) % outline.length]
      group.style.display = distance(outline[i], next) / k > ROOM_FOR_PLUS ? "" : "none"
      this.#put(group, between(outline[i], next), k)
    })
    for (const [name, group] of this.parts) group.classList.toggle("picked", name === picked)
  }

  #drawBands({ corners, path, outline }, bands, k) {
    const found = outline.length ? bands.map(([, from, to]) => bandOf(path, outline, from, to)) : []
    this.bands.forEach(({ area, lines, word }, i) => {
      area.setAttribute("d", trace(found[i]?.area ?? [], true))
      for (const layer of lines) layer.setAttribute("d", (found[i]?.lines ?? []).map(line => trace(line, false)).join(""))
      word.style.display = found[i] ? "" : "none"
    })
    if (found.length) this.#bandWords(found, bands, centre(corners), k)
  }

  /** All on one side of the hair, away from the card and in full if there is room, and never outside the picture. */
  #bandWords(found, bands, card, k) {
    const width = this.stage.getBoundingClientRect().width
    const sides = [1, -1].flatMap(turn => [0, 1].map(short => found.map(({ area, middle, across }, i) => {
      const reach = Math.max(0, ...area.map(p => turn * dot(minus(p, middle), across)))
      const at = plus(middle, across, turn * (reach + 12 * k)), way = turn * across[0], [x] = this.view.toStage(at)
      const long = text => text.length * LETTER + 6, room = Math.abs(way) < 0.5 ? 2 * Math.min(x, width - x) : way < 0 ? x : width - x
      const full = bands[i][0], word = short && room < long(full) ? full.split("-")[0] : full
      return { at, way, word, room: room - long(word), below: turn * across[1] > 0 }
    })))
    const near = side => dot(minus(side[1].at, found[1].middle), minus(card, found[1].middle)) > 0
    const tightest = side => Math.min(...side.map(one => one.room))
    sides.sort((a, b) => near(a) - near(b))
    const side = sides.find(one => tightest(one) >= 0) ?? sides.sort((a, b) => tightest(b) - tightest(a))[0]
    side.forEach(({ at, way, word, room, below }, i) => {
      const text = this.bands[i].word, level = Math.abs(way) < 0.5
      text.textContent = word
      text.setAttribute("text-anchor", level ? "middle" : way < 0 ? "end" : "start")
      text.setAttribute("x", level ? 0 : Math.min(0, room) * (way < 0 ? -1 : 1))
      text.setAttribute("y", level ? (below ? 14 : -4) : 5)
      this.#put(text, at, k)
    })
  }

  #put(group, p, k) {
    group.setAttribute("transform", `translate(${p[0]} ${p[1]}) scale(${k})`)
  }

  #place(kind, index, marks, k) {
    const group = this.parts.get(`${kind}-${index}`), p = placeOf(marks, kind, index)
    this.#put(group, p, k)
    const enter = marks.tapsCard ? "Enter looks for the card there" : "Enter sets the point"
    const how = kind === "aim" ? `Arrow keys move it, ${enter}.` : "Arrow keys move it."
    group.setAttribute("aria-label", `${said(marks, kind, index)}. ${how}`)
    this.#placeWord(group.querySelector("text"), p, this.#wordSpot(kind, index, p, marks))
  }

  /** Where a word stands by its point, in CSS pixels; to the right, or as far to the left. */
  #wordSpot(kind, index, p, marks) {
    const { corners, path, outline } = marks
    if (kind === "corner") {
      const hair = centre(path.length ? path : [p]), left = p[0] < hair[0]
      const middle = centre(corners)
      // the first and last corner's words run along the card and away from the hair, the others' would meet them: beside
      return index === 1 || index === 2 ? { left: p[0] < middle[0], x: 18, y: 5 } : { left, x: -8, y: p[1] < middle[1] ? -17 : 27 }
    }
    if (!isEnd(marks, kind, index)) return { x: 18, y: 5 }
    const y = p[1] < path[index ? index - 1 : 1][1] ? -9 : 20
    const clear = side => Math.min(...outline.map(one => distance(one, plus(p, [side * 30, y], this.view.scale))))
    return { left: clear(-1) > clear(1), x: 16, y }
  }

  /** Beside its point and never outside the picture. */
  #placeWord(text, p, spot) {
    const long = text.textContent.length * LETTER + spot.x + 4
    const [x, y] = this.view.toStage(p), { width, height } = this.stage.getBoundingClientRect()
    text.style.display = x < 0 || y < 0 || x > width || y > height ? "none" : ""
    const left = spot.left ? x > long : x > width - long
    text.setAttribute("text-anchor", left ? "end" : "start")
    text.setAttribute("x", left ? -spot.x : spot.x)
    text.setAttribute("y", clamp(spot.y, 18 - y, height - y - 6))
  }

  /** The magnifier, in the upper corner away from the point and always on the screen. */
  magnify(marks, p) {
    const half = (LOUPE / LOUPE_TIMES / 2) * this.view.scale
    this.loupe.setAttribute("viewBox", [p[0] - half, p[1] - half, 2 * half, 2 * half].join(" "))
    const lines = trace(marks.corners, true) + trace(marks.outline, true) + trace(marks.path, false)
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
