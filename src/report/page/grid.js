// Which of many boxes touch a window: cells of one size, each box in all that it covers.
export class Grid {
  /** boxes: [x0, y0, x1, y1] each; empty ones are never found. */
  constructor(boxes) {
    let x0 = Infinity, y0 = Infinity, x1 = -Infinity, y1 = -Infinity, n = 0;
    for (const b of boxes) if (b[0] <= b[2]) { x0 = Math.min(x0, b[0]); y0 = Math.min(y0, b[1]); x1 = Math.max(x1, b[2]); y1 = Math.max(y1, b[3]); n++; }
    this.boxes = boxes;
    this.cell = n ? Math.max(200, Math.sqrt((x1 - x0) * (y1 - y0) / n) * 2) : 1;
    this.x0 = x0; this.y0 = y0;
    this.nx = n ? Math.floor((x1 - x0) / this.cell) + 1 : 0;
    this.ny = n ? Math.floor((y1 - y0) / this.cell) + 1 : 0;
    this.cells = new Map();
    this.seen = new Uint32Array(boxes.length);
    this.round = 0;
    this.large = [];
    boxes.forEach((b, i) => {
      if (!(b[0] <= b[2])) return;
      const w = this.span(b);
      if ((w[2] - w[0] + 1) * (w[3] - w[1] + 1) > 400) { this.large.push(i); return; }
      for (let y = w[1]; y <= w[3]; y++) for (let x = w[0]; x <= w[2]; x++) {
        const k = y * this.nx + x, list = this.cells.get(k);
        if (list) list.push(i); else this.cells.set(k, [i]);
      }
    });
  }
  span(b) {
    const c = (v, o, n) => Math.min(Math.max(Math.floor((v - o) / this.cell), 0), n - 1);
    return [c(b[0], this.x0, this.nx), c(b[1], this.y0, this.ny), c(b[2], this.x0, this.nx), c(b[3], this.y0, this.ny)];
  }
  /** Calls f with every index whose box touches the window, each once; stops when f returns false. */
  find(window, f) {
    if (!this.nx) return;
    this.round++;
    const touches = i => { const b = this.boxes[i]; return b[0] <= window[2] && b[2] >= window[0] && b[1] <= window[3] && b[3] >= window[1]; };
    for (const i of this.large) if (touches(i) && f(i) === false) return;
    const w = this.span(window);
    for (let y = w[1]; y <= w[3]; y++) for (let x = w[0]; x <= w[2]; x++) {
      const list = this.cells.get(y * this.nx + x);
      if (list) for (const i of list) if (this.seen[i] !== this.round) {
        this.seen[i] = this.round;
        if (touches(i) && f(i) === false) return;
      }
    }
  }
}
