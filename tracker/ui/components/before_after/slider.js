// Runs again on every change of data or theme: only sets what differs, never rebuilds.
const SIDES = ["before", "after"]

export default function ({ parentElement, data }) {
  const frame = parentElement.querySelector(".frame"), range = frame.querySelector("input")
  frame.style.setProperty("--ratio", data.ratio)
  for (const side of SIDES) {
    const picture = frame.querySelector("." + side)
    if (picture.getAttribute("src") !== data[side].url) picture.src = data[side].url
    picture.alt = data[side].alt
  }
  frame.querySelector(".left").textContent = data.before.label
  frame.querySelector(".right").textContent = data.after.label
  parentElement.querySelector("figcaption").textContent = data.note
  range.setAttribute("aria-label", `Slide between ${data.before.label} and ${data.after.label}`)

  const show = () => {
    const share = Number(range.value)
    frame.style.setProperty("--at", share + "%")
    range.setAttribute("aria-valuetext", `${Math.round(share)} % ${data.before.label}, ${Math.round(100 - share)} % ${data.after.label}`)
  }
  range.oninput = show
  followPointer(frame, event => {
    const box = frame.getBoundingClientRect()
    range.value = ((event.clientX - box.left) / box.width) * 100
    show()
  }, () => range.focus({ preventScroll: true }))
  show()
}

// The range serves keys and screen readers. Fingers are followed here, because a range jumps to a finger that only
// wants to scroll past: sideways slides, a tap jumps, up and down belongs to the page.
function followPointer(frame, slide, take) {
  let held = null
  frame.onpointerdown = event => {
    if (event.button) return
    held = { x: event.clientX, y: event.clientY, id: event.pointerId, sliding: event.pointerType === "mouse" }
    if (!held.sliding) return
    event.preventDefault()
    frame.setPointerCapture(event.pointerId)
    take()
    slide(event)
  }
  frame.onpointermove = event => {
    if (held?.id !== event.pointerId) return
    const across = Math.abs(event.clientX - held.x)
    held.sliding ||= across > 6 && across > Math.abs(event.clientY - held.y)
    if (held.sliding) slide(event)
  }
  frame.onpointerup = event => {
    if (held?.id === event.pointerId) slide(event)
    held = null
  }
  frame.onpointercancel = () => { held = null }
}
