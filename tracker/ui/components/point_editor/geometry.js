// Plane geometry of the marks. Points are [x, y] in pixels of the full-size photo; shares of a path run 0 (root) to 1 (tip).
const BANDS = [["root", 0, 0.2], ["mid", 0.4, 0.6], ["end", 0.8, 1]]

const clamp = (value, low, high) => Math.min(high, Math.max(low, value))
const plus = (a, b, times = 1) => [a[0] + b[0] * times, a[1] + b[1] * times]
const minus = (a, b) => [a[0] - b[0], a[1] - b[1]]
const dot = (a, b) => a[0] * b[0] + a[1] * b[1]
const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1])
const unit = v => { const n = Math.hypot(v[0], v[1]); return n ? [v[0] / n, v[1] / n] : [1, 0] }
const normal = v => [-v[1], v[0]]
const centre = points => points.reduce((sum, p) => plus(sum, p, 1 / points.length), [0, 0])
const lengthOf = path => path.slice(1).reduce((sum, p, i) => sum + distance(path[i], p), 0)

/** Point at a share of the path's length, the unit direction there, and the index of its segment. */
function along(path, share) {
  let left = clamp(share, 0, 1) * lengthOf(path)
  for (let i = 0; i + 1 < path.length; i++) {
    const step = distance(path[i], path[i + 1])
    if (left <= step || i + 2 === path.length) {
      return { at: plus(path[i], minus(path[i + 1], path[i]), step ? Math.min(1, left / step) : 0),
               direction: unit(minus(path[i + 1], path[i])), segment: i }
    }
    left -= step
  }
}

/** The part of the path between two shares. */
function piece(path, from, to) {
  const start = along(path, from), end = along(path, to)
  return [start.at, ...path.slice(start.segment + 1, end.segment + 1), end.at]
    .filter((p, i, all) => !i || distance(p, all[i - 1]) > 1e-6)
}

/** Outline of a line of that width: one side there, the other side back. */
function ribbon(line, width) {
  if (line.length < 2) return []
  const sides = line.map((p, i) => {
    const into = unit(minus(p, line[i - 1] ?? p)), out = unit(minus(line[i + 1] ?? p, p))
    const way = i === 0 ? out : i === line.length - 1 ? into : unit(plus(into, out))
    const reach = width / 2 / Math.max(0.5, i === 0 || i === line.length - 1 ? 1 : dot(way, out))
    return [plus(p, normal(way), reach), plus(p, normal(way), -reach)]
  })
  return [...sides.map(s => s[0]), ...sides.map(s => s[1]).reverse()]
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

const outline = (points, closed) => points.length ? "M" + points.map(p => p.join(" ")).join("L") + (closed ? "Z" : "") : ""
