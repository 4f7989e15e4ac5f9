// One socket for a tab, whichever of its pages is shown. The page is drawn anew and not loaded anew, so that what
// somebody is typing there stays; only what the record no longer holds goes.
const tab = (window.trackerErasures ??= { drawnWith: 0, name: "", redraw: null, socket: null })

// Running scripts are let finish: to cut a saving short would be worse than a name that stays a second longer.
const onceIdle = (then) => {
  const app = document.querySelector("[data-test-script-state]")
  if (!app || app.dataset.testScriptState !== "running") return then()
  const watch = new MutationObserver(() => {
    if (app.dataset.testScriptState === "running") return
    watch.disconnect()
    then()
  })
  watch.observe(app, { attributes: true, attributeFilter: ["data-test-script-state"] })
}

const heard = ({ number, by }) => {
  if (number === tab.drawnWith || by === tab.name) return
  onceIdle(() => {
    if (number === tab.drawnWith) return
    fetch(`/forgotten/${crypto.randomUUID()}`)
    tab.redraw(number)
  })
}

const listen = () => {
  tab.socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/erasures`)
  tab.socket.onmessage = (said) => heard(JSON.parse(said.data))
  tab.socket.onclose = () => setTimeout(listen, 2000)
}

export default function ({ data, setTriggerValue }) {
  tab.drawnWith = data.number
  tab.name = data.tab
  tab.redraw = (number) => setTriggerValue("erased", number)
  if (!tab.socket) listen()
}
