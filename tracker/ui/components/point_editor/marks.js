// What is marked: the card's corners, the axis from root to tip and the outline of the hair; before these, three taps.
const TAPS = [["root", "the root of the hair"], ["middle", "the middle of the hair"], ["tip", "the tips"]]
const CORNERS = ["card top left", "card top right", "card bottom right", "card bottom left"]
const LISTS = { corner: "corners", outline: "outline", point: "path", tap: "taps", aim: "aim" }

/** The marks as Python gives them, inside the photo; `aim` is where the cross for the keyboard stands. While `tapsCard`
 * is true a tap says where the card is, else it may be a point of the hair. */
function marksFrom({ corners, path, outline, size, tap_card: tapsCard }) {
  const keep = p => keepInside(p, size)
  return { corners: corners.map(keep), path: path.map(keep), outline: (outline ?? []).map(keep), taps: [], tapsCard,
           aim: [size.map(v => v / 2)] }
}

const tidy = points => points.map(p => p.map(v => Math.round(v * 100) / 100))

/** The marks as Python takes them; taps are no path until there are three. */
function marksTo({ corners, path, outline }) {
  return { corners: tidy(corners), path: tidy(path), outline: outline.length ? tidy(outline) : null }
}

const keepInside = (p, size) => p.map((v, i) => clamp(v, 0, size[i]))
const isTapping = marks => marks.path.length < 2
const asksForOutline = marks => !isTapping(marks) && !marks.outline.length
const started = marks => ({ ...marks, path: [], outline: [], taps: [] })
const isMiddle = ({ path, outline }, kind, index) => kind === "point" && index === 1 && path.length === 3 && !outline.length
const isEnd = ({ path }, kind, index) => kind === "point" && (index === 0 || index === path.length - 1)
/** The points that a person tapped, or could have. */
const isMain = (marks, kind, index) => kind === "tap" || isEnd(marks, kind, index) || isMiddle(marks, kind, index)
const placeOf = (marks, kind, index) => kind === "card" ? centre(marks.corners) : marks[LISTS[kind]][index]

/** Every handle, in the order in which the Tab key reaches them: the card, then the hair. */
function handlesOf(marks) {
  const all = kind => marks[LISTS[kind]].map((_, i) => [kind, i])
  const hair = isTapping(marks) ? [...all("tap"), ...all("aim")] : [...all("outline"), ...all("point")]
  const aim = marks.tapsCard && !isTapping(marks) ? all("aim") : []
  return [...all("corner"), ["card", 0], ...aim, ...hair]
}

function nameOf(marks, kind, index) {
  if (kind === "corner") return CORNERS[index]
  if (kind === "card") return "whole card"
  if (kind === "outline") return `outline point ${index + 1}`
  if (kind === "tap") return TAPS[index][0]
  if (kind === "aim") return "cross"
  if (isMiddle(marks, kind, index)) return "middle"
  if (isEnd(marks, kind, index)) return index ? "tip" : "root"
  return `point ${index} of ${marks.path.length - 2} between root and tip`
}

/** The word that stands by a handle, if any. */
function wordOf(marks, kind, index) {
  const name = nameOf(marks, kind, index)
  if (kind === "corner") return name.replace("card ", "")
  return isMain(marks, kind, index) ? name : ""
}

/** A name with its place, to be read aloud. */
function said(marks, kind, index) {
  const p = placeOf(marks, kind, index), where = `${Math.round(p[0])} across, ${Math.round(p[1])} down`
  if (kind === "aim") return `Cross for ${marks.tapsCard ? "the card" : TAPS[marks.taps.length][1]}: ${where}`
  const name = nameOf(marks, kind, index)
  return name[0].toUpperCase() + name.slice(1) + (kind === "card" ? "" : `: ${where}`)
}
