"""When a page stands still: nothing was asked of the server that it has not begun, and nothing is being drawn."""

from __future__ import annotations

from itertools import count
from typing import Any

PATIENCE_MS = 60_000
_FRAMES = 3
_calls = count()

# Streamlit's own messages by their field numbers: `rerun_script` of BackMsg, `new_session` and `script_finished` of
# ForwardMsg, the last with the value `FINISHED_EARLY_FOR_RERUN`: what `st.rerun` broke off is drawn only in part.
NOTE_RUNS = """(() => {
  const RERUN = 11, BEGUN = 4, ENDED = 6, FOR_ANOTHER = 2
  const runs = window.scriptRuns = { asked: 0, now: false }
  const fields = function* (bytes) {
    let at = 0
    const number = () => {
      let found = 0, shift = 1
      for (; bytes[at] > 127; shift *= 128) found += (bytes[at++] & 127) * shift
      return found + bytes[at++] * shift
    }
    while (at < bytes.length) {
      const tag = number()
      const value = number()
      yield [tag >> 3, value]
      if ((tag & 7) === 2) at += value
      else if ((tag & 7) !== 0) return
    }
  }
  const all = data => Array.from(fields(new Uint8Array(data)))
  window.WebSocket = class extends WebSocket {
    constructor(...given) {
      super(...given)
      if (!this.url.includes("/_stcore/stream")) return
      this.addEventListener("message", ({ data }) => {
        for (const [field, value] of all(data)) {
          if (field === BEGUN) Object.assign(runs, { asked: 0, now: true })
          if (field === ENDED) Object.assign(runs, { asked: value === FOR_ANOTHER ? 1 : runs.asked, now: false })
        }
      })
      const send = this.send.bind(this)
      this.send = data => {
        if (all(data).some(([field]) => field === RERUN)) runs.asked += 1
        send(data)
      }
    }
  }
})()"""
"""For the start of every page: how many runs of the script were asked for since one began, and whether one goes on."""

_STILL = """([call, frames]) => {
  const drawn = document.querySelector('[data-test-script-state="notRunning"]')
  const idle = window.scriptRuns.asked === 0 && !window.scriptRuns.now
  const still = idle && drawn && !document.querySelector("[data-testid=stSkeleton]")
  if (window.stillCall !== call || !still) window.stillFrames = 0
  window.stillCall = call
  return ++window.stillFrames > frames
}"""


def settled(page: Any) -> None:
    """Wait until the page is drawn: what is pressed or filled while it still changes may be replaced under the hand.

    It must stand still for some frames, in which a press or a key reaches Streamlit's scripts and they ask the server;
    on a slow machine frames take longer too. Only for pages that had `NOTE_RUNS` from their start.
    """
    page.wait_for_function(_STILL, arg=[next(_calls), _FRAMES], timeout=PATIENCE_MS)
