// Plane geometry of the marks. Points are [x, y] in pixels of the full-size photo; shares of a path run 0 (root) to 1 (tip).
const clamp = (value, low, high) => Math.min(high, Math.max(low, value))
const plus = (a, b, times = 1) => [a[0] + b[0] * times, a[1] + b[1] * times]
const minus = (a, b) => [a[0] - b[0], a[1] - b[1]]
const dot = (a, b) => a[0] * b[0] + a[1] * b[1]
const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1])
const unit = v => { const n = Math.hypot(v[0], v[1]); return n ? [v[0] / n, v[1] / n] : [1, 0] }
const normal = v => [-v[1], v[0]]
const between = (a, b) => plus(a, minus(b, a), 0.5)
const centre = points => points.reduce((sum, p) => plus(sum, p, 1 / points.length), [0, 0])
const lengthOf = path => path.slice(1).reduce((sum, p, i) => sum + distance(path[i], p), 0)

/** Point at a share of the path's length, and the index of its segment. */
function along(path, share) {
  let left = clamp(share, 0, 1) * lengthOf(path)
  for (let i = 0; i + 1 < path.length; i++) {
    const step = distance(path[i], path[i + 1])
    if (left <= step || i + 2 === path.length) {
      return { at: plus(path[i], minus(path[i + 1], path[i]), step ? Math.min(1, left / step) : 0), segment: i }
    }
    left -= step
  }
}

/** How far down the line from root to tip a share of the path lies; as the program reads it, this never falls. */
function heightAt(path, share, down) {
  const { at, segment } = along(path, share)
  return Math.max(...[...path.slice(0, segment + 1), at].map(p => dot(minus(p, path[0]), down)))
}

/** The part of a polygon on the side of a line that `way` points to. */
function oneSide(polygon, origin, way) {
  return polygon.flatMap((a, i) => {
    const b = polygon[(i + 1) % polygon.length], ha = dot(minus(a, origin), way), hb = dot(minus(b, origin), way)
    const kept = ha >= 0 ? [a] : []
    if (ha >= 0 !== hb >= 0) kept.push(plus(a, minus(b, a), ha / (ha - hb)))
    return kept
  })
}

/** The pieces of a line at right angles to `down` that lie inside a polygon, from side to side. */
function cuts(polygon, origin, down) {
  const across = normal(down)
  const places = polygon.flatMap((a, i) => {
    const b = polygon[(i + 1) % polygon.length], ha = dot(minus(a, origin), down), hb = dot(minus(b, origin), down)
    return ha >= 0 !== hb >= 0 ? [dot(minus(plus(a, minus(b, a), ha / (ha - hb)), origin), across)] : []
  }).sort((a, b) => a - b)
  return places.flatMap((from, i) => i % 2 ? [] : [[plus(origin, across, from), plus(origin, across, places[i + 1])]])
}

/** What is read as one band: the hair between two heights along the path, and the lines that bound it. */
function bandOf(path, polygon, from, to) {
  const down = unit(minus(path.at(-1), path[0]))
  const [top, bottom] = [from, to].map(share => plus(path[0], down, heightAt(path, share, down)))
  return { area: oneSide(oneSide(polygon, top, down), bottom, down.map(v => -v)),
           lines: [top, bottom].flatMap(p => cuts(polygon, p, down)),
           middle: plus(top, minus(bottom, top), 0.5), across: normal(down) }
}

/** The segment of the path nearest to a point. */
function nearestSegment(path, p) {
  let best = { segment: 0, distance: Infinity, at: path[0] }
  for (let i = 0; i + 1 < path.length; i++) {
    const way = minus(path[i + 1], path[i]), square = dot(way, way) || 1
    const at = plus(path[i], way, clamp(dot(minus(p, path[i]), way) / square, 0, 1))
    if (distance(at, p) < best.distance) best = { segment: i, distance: distance(at, p), at }
  }
  return best
}

function inside(polygon, p) {
  let odd = false
  polygon.forEach((a, i) => {
    const b = polygon[(i + 1) % polygon.length]
    if ((a[1] > p[1]) !== (b[1] > p[1]) && p[0] < ((b[0] - a[0]) * (p[1] - a[1])) / (b[1] - a[1]) + a[0]) odd = !odd
  })
  return odd
}

/** A closed polygon as a line that ends where it began. */
const ring = points => [...points, ...points.slice(0, 1)]

const trace = (points, closed) => points.length ? "M" + points.map(p => p.join(" ")).join("L") + (closed ? "Z" : "") : ""
