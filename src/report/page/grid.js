// Finds which of many boxes touch a window. The plane is divided into cells of one size, and each box is listed in
// every cell that it covers.
export class Grid {
  /** boxes: [left, bottom, right, top] each. An empty box, whose left is greater than its right, is never found. */
  constructor(boxes) {
    let x0 = Infinity;
    let y0 = Infinity;
    let x1 = -Infinity;
    let y1 = -Infinity;
    let count = 0;
    for (const box of boxes)
      if (box[0] <= box[2]) {
        x0 = Math.min(x0, box[0]);
        y0 = Math.min(y0, box[1]);
        x1 = Math.max(x1, box[2]);
        y1 = Math.max(y1, box[3]);
        count++;
      }
    this.boxes = boxes;
    this.cell = count ? Math.max(200, Math.sqrt(((x1 - x0) * (y1 - y0)) / count) * 2) : 1;
    this.x0 = x0;
    this.y0 = y0;
    this.nx = count ? Math.floor((x1 - x0) / this.cell) + 1 : 0;
    this.ny = count ? Math.floor((y1 - y0) / this.cell) + 1 : 0;
    this.cells = new Map();
    this.seen = new Uint32Array(boxes.length);
    this.round = 0;
    this.large = [];
    boxes.forEach((box, i) => {
      if (!(box[0] <= box[2])) return;
      const span = this.span(box);
      if ((span[2] - span[0] + 1) * (span[3] - span[1] + 1) > 400) {
        // A box over very many cells is cheaper to test each time than to list in all of them.
        this.large.push(i);
        return;
      }
      for (let y = span[1]; y <= span[3]; y++)
        for (let x = span[0]; x <= span[2]; x++) {
          const cell = y * this.nx + x;
          const list = this.cells.get(cell);
          if (list) list.push(i);
          else this.cells.set(cell, [i]);
        }
    });
  }
  /** The first column, first row, last column and last row of the cells that a box covers. */
  span(box) {
    const cellOf = (value, origin, cells) => Math.min(Math.max(Math.floor((value - origin) / this.cell), 0), cells - 1);
    return [
      cellOf(box[0], this.x0, this.nx),
      cellOf(box[1], this.y0, this.ny),
      cellOf(box[2], this.x0, this.nx),
      cellOf(box[3], this.y0, this.ny),
    ];
  }
  /** Calls visit once with the index of each box that touches the window, until visit returns false. */
  find(window, visit) {
    if (!this.nx) return;
    this.round++;
    const touches = i => {
      const box = this.boxes[i];
      return box[0] <= window[2] && box[2] >= window[0] && box[1] <= window[3] && box[3] >= window[1];
    };
    for (const i of this.large) if (touches(i) && visit(i) === false) return;
    const span = this.span(window);
    for (let y = span[1]; y <= span[3]; y++)
      for (let x = span[0]; x <= span[2]; x++) {
        const list = this.cells.get(y * this.nx + x);
        if (list)
          for (const i of list)
            if (this.seen[i] !== this.round) {
              this.seen[i] = this.round;
              if (touches(i) && visit(i) === false) return;
            }
      }
  }
}
