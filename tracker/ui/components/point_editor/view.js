// Which part of the photo is shown, and how pixels of the screen map to pixels of the photo.
class View {
  constructor(stage) {
    this.stage = stage
    this.size = [1, 1]
    this.zoom = 1
    this.corner = [0, 0]
  }

  setSize(size) {
    this.size = size
    this.apply()
  }

  /** Pixels of the photo in one CSS pixel. */
  get scale() {
    const width = this.stage.getBoundingClientRect().width
    return width ? this.size[0] / this.zoom / width : 1
  }

  get shown() {
    return [this.size[0] / this.zoom, this.size[1] / this.zoom]
  }

  toPhoto(event) {
    const box = this.stage.getBoundingClientRect(), k = this.scale
    return [this.corner[0] + (event.clientX - box.left) * k, this.corner[1] + (event.clientY - box.top) * k]
  }

  /** CSS pixels from the stage's top left. */
  toStage(p) {
    const k = this.scale
    return [(p[0] - this.corner[0]) / k, (p[1] - this.corner[1]) / k]
  }

  setZoom(zoom, around) {
    this.zoom = zoom
    this.corner = plus(around, this.shown, -0.5)
    this.apply()
  }

  moveTo(corner) {
    this.corner = corner
    this.apply()
  }

  /** Bring a point into view. */
  reveal(p) {
    const margin = this.shown.map(v => v * 0.12)
    const out = [0, 1].some(i => p[i] < this.corner[i] + margin[i] || p[i] > this.corner[i] + this.shown[i] - margin[i])
    if (this.zoom > 1 && out) this.moveTo(plus(p, this.shown, -0.5))
  }

  apply() {
    this.corner = [0, 1].map(i => clamp(this.corner[i], 0, this.size[i] - this.shown[i]))
    this.stage.setAttribute("viewBox", [...this.corner, ...this.shown].join(" "))
    this.stage.classList.toggle("zoomed", this.zoom > 1)
  }
}
