// The fixture in three dimensions, by WebGL: it is turned by dragging, closed and taken apart by sliders, and what is
// picked in it is picked on the board as well.
import { CLASS_COLOURS } from './colours.js';
import { make } from './elements.js';
import { fixtureMesh, liftsOf } from './solids.js';

const MOST_GROUPS = 16;
const VERTEX = `
attribute vec3 place; attribute vec3 normal; attribute vec4 colour; attribute float thing; attribute float group;
uniform mat4 look; uniform float lifts[${MOST_GROUPS}]; uniform float picking; uniform float marked;
varying vec4 shade;
void main() {
  vec3 at = place; at.z += lifts[int(group + 0.5)];
  gl_Position = look * vec4(at, 1.0);
  float light = 0.62 + 0.38 * abs(dot(normalize(normal), normalize(vec3(0.35, -0.5, 0.8))));
  vec4 seen = vec4(colour.rgb * light, colour.a);
  if (marked > 0.5 && abs(thing - marked) < 0.5) seen = vec4(1.0, 0.1, 0.5, 1.0);
  float code = floor(thing + 0.5);
  shade = picking > 0.5
    ? vec4(mod(code, 256.0) / 255.0, mod(floor(code / 256.0), 256.0) / 255.0, floor(code / 65536.0) / 255.0, 1.0)
    : seen;
}`;
const FRAGMENT = `precision mediump float; varying vec4 shade; void main() { gl_FragColor = shade; }`;

const rgb = (text, opacity = 1) => [...[1, 3, 5].map(i => parseInt(text.slice(i, i + 2), 16) / 255), opacity];

/** A program of both shaders; nothing where they do not compile. */
function programOf(gl) {
  const program = gl.createProgram();
  for (const [kind, text] of [
    [gl.VERTEX_SHADER, VERTEX],
    [gl.FRAGMENT_SHADER, FRAGMENT],
  ]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  return gl.getProgramParameter(program, gl.LINK_STATUS) ? program : null;
}

/** From millimetres to the screen, seen from a turn and a height, as a parallel projection. Column by column. */
export function lookMatrix({ turn, tilt, scale, middle, wide, high }) {
  const [ct, st, cl, sl] = [Math.cos(turn), Math.sin(turn), Math.cos(tilt), Math.sin(tilt)];
  // Rows: to the right, up, away.
  const rows = [
    [ct, -st, 0],
    [st * sl, ct * sl, cl],
    [st * cl, ct * cl, -sl],
  ];
  const depth = 1 / 2000;
  const factors = [(2 * scale) / wide, (2 * scale) / high, depth];
  const out = new Float32Array(16);
  rows.forEach((row, i) => {
    row.forEach((value, j) => {
      out[4 * j + i] = value * factors[i];
    });
    out[12 + i] = -factors[i] * (row[0] * middle[0] + row[1] * middle[1] + row[2] * middle[2]);
  });
  out[15] = 1;
  return out;
}

export class FixtureView {
  /** onPick(what): a thing of the fixture was clicked. */
  constructor(root, page, onPick) {
    this.page = page;
    this.onPick = onPick;
    this.state = { turn: 0.6, tilt: 0.45, closing: 2, apart: 0, zoom: 1 };
    root.replaceChildren();
    this.canvas = make('canvas', null, { tabIndex: 0, role: 'img' });
    this.canvas.setAttribute('aria-label', 'Drawing of the fixture: drag to turn it, the wheel zooms');
    const tools = make('div', null, { className: 'bar' });
    const slider = (words, key, most, now) => {
      const label = make('label', words + ' ');
      const input = make('input', null, { type: 'range', min: 0, max: most, step: 0.01, value: now });
      input.oninput = () => {
        this.state[key] = Number(input.value);
        this.say();
        this.draw();
      };
      label.append(input);
      tools.append(label);
      return input;
    };
    this.closing = slider('closing', 'closing', 2, 2);
    slider('taken apart', 'apart', 1, 0);
    const play = make('button', 'Close it');
    play.onclick = () => this.play();
    this.words = make('span', null, { role: 'status' });
    tools.append(play, this.words);
    root.append(tools, this.canvas);
    this.gl = this.canvas.getContext('webgl', {
      antialias: true,
      preserveDrawingBuffer: true,
      premultipliedAlpha: false,
    });
    this.program = this.gl && programOf(this.gl);
    if (!this.program) {
      root.append(make('p', 'This browser draws nothing in three dimensions. The section is in fixture-section.svg.'));
      return;
    }
    this.load();
    this.listen();
    this.observer = new ResizeObserver(() => this.resize());
    this.observer.observe(this.canvas);
    this.resize();
    this.say();
  }
  leave() {
    this.observer?.disconnect();
    this.gl?.getExtension('WEBGL_lose_context')?.loseContext();
  }
  load() {
    const { gl } = this;
    const colours = {
      board: rgb('#3f7d54'),
      part: rgb('#59616b'),
      plate: rgb('#7d93a8', 0.22),
      edge: rgb('#5a6b7b'),
      support: rgb('#e0a100'),
      classes: CLASS_COLOURS.map(colour => rgb(colour)),
    };
    const { mesh, groups } = fixtureMesh(this.page.data, colours);
    this.groups = groups.slice(0, MOST_GROUPS);
    this.things = mesh.things;
    // What can be seen through comes last.
    const solid = [];
    const clear = [];
    for (let i = 0; i < mesh.numbers.length; i += 36)
      (mesh.numbers[i + 9] < 1 ? clear : solid).push(...mesh.numbers.slice(i, i + 36));
    this.solid = solid.length / 12;
    this.all = this.solid + clear.length / 12;
    const buffer = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    this.edges = mesh.edges.length / 12;
    const all = new Float32Array(solid.length + clear.length + mesh.edges.length);
    all.set(solid);
    all.set(clear, solid.length);
    all.set(mesh.edges, solid.length + clear.length);
    gl.bufferData(gl.ARRAY_BUFFER, all, gl.STATIC_DRAW);
    gl.useProgram(this.program);
    let offset = 0;
    for (const [name, size] of [
      ['place', 3],
      ['normal', 3],
      ['colour', 4],
      ['thing', 1],
      ['group', 1],
    ]) {
      const where = gl.getAttribLocation(this.program, name);
      gl.enableVertexAttribArray(where);
      gl.vertexAttribPointer(where, size, gl.FLOAT, false, 48, offset);
      offset += 4 * size;
    }
    // The corners of all plates, and the board's: what must be in sight.
    const flip = this.page.data.board.side_down === 0 ? -1 : 1;
    const thick = this.page.data.board.thick / 1000;
    this.corners = this.page.data.plates.flatMap((plate, i) => {
      const away = plate.away[2] / 1000;
      const face = plate.lower ? -away : thick + away;
      const far = plate.lower ? face - plate.thick / 1000 : face + plate.thick / 1000;
      const ring = plate.outline[0];
      return Array.from({ length: ring.length / 2 }, (_none, k) => ({
        at: [ring[2 * k] / 1000, (flip * ring[2 * k + 1]) / 1000, far],
        group: i + 1,
      }));
    });
    this.labels = this.page.data.plates.map(plate => {
      const label = make('span', `${plate.lower ? 'lower' : 'upper'} ${plate.kind} plate`, { className: 'label' });
      this.canvas.parentNode.append(label);
      return label;
    });
  }
  /** The middle of the fixture as it stands, and the radius of a ball about all of it. */
  ball(lifts) {
    const places = this.corners.map(({ at, group }) => [at[0], at[1], at[2] + lifts[group]]);
    const middle = [0, 1, 2].map(axis => {
      const list = places.map(place => place[axis]);
      return (Math.min(...list) + Math.max(...list)) / 2;
    });
    const radius = Math.max(...places.map(place => Math.hypot(...place.map((value, axis) => value - middle[axis]))));
    return { middle, radius };
  }
  /** Puts the names of the plates beside their rightmost corners. */
  nameThem(look, lifts) {
    const { canvas } = this;
    const ratio = canvas.width / canvas.clientWidth;
    this.labels.forEach((label, i) => {
      const ends = this.corners
        .filter(({ group }) => group === i + 1)
        .map(({ at, group }) => {
          const [x, y, z] = [at[0], at[1], at[2] + lifts[group]];
          const on = row => look[row] * x + look[4 + row] * y + look[8 + row] * z + look[12 + row];
          return [((on(0) + 1) / 2) * canvas.width, ((1 - on(1)) / 2) * canvas.height];
        });
      const [x, y] = ends.reduce((best, end) => (end[0] > best[0] ? end : best));
      label.style.left = Math.min(x / ratio, canvas.clientWidth - label.offsetWidth - 4) + 'px';
      label.style.top = y / ratio + canvas.offsetTop - 9 + 'px';
    });
  }
  listen() {
    let last = null;
    let moved = 0;
    this.canvas.onpointerdown = event => {
      this.canvas.setPointerCapture(event.pointerId);
      last = [event.clientX, event.clientY];
      moved = 0;
    };
    this.canvas.onpointermove = event => {
      if (!last) return;
      const dx = event.clientX - last[0];
      const dy = event.clientY - last[1];
      moved += Math.abs(dx) + Math.abs(dy);
      last = [event.clientX, event.clientY];
      this.turn(dx * 0.008, dy * 0.008);
    };
    this.canvas.onpointerup = event => {
      last = null;
      if (moved < 5) this.pick(event);
    };
    this.canvas.addEventListener(
      'wheel',
      event => {
        event.preventDefault();
        this.zoom(Math.exp(-event.deltaY * 0.0016));
      },
      { passive: false },
    );
    this.canvas.onkeydown = event => {
      const step = { ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1] }[event.key];
      if (step) this.turn(...step);
      else if (event.key === '+' || event.key === '=') this.zoom(1.3);
      else if (event.key === '-') this.zoom(1 / 1.3);
      else return;
      event.preventDefault();
    };
  }
  turn(by, up) {
    this.state.turn += by;
    this.state.tilt = Math.min(1.55, Math.max(-0.6, this.state.tilt + up));
    this.draw();
  }
  zoom(factor) {
    this.state.zoom = Math.min(40, Math.max(0.3, this.state.zoom * factor));
    this.draw();
  }
  /** Closes the fixture once, from rest to work. */
  play() {
    const began = performance.now();
    const step = now => {
      this.state.closing = Math.min(2, ((now - began) / 3000) * 2);
      this.closing.value = this.state.closing;
      this.say();
      this.draw();
      if (this.state.closing < 2 && this.canvas.isConnected) requestAnimationFrame(step);
    };
    requestAnimationFrame(step);
  }
  say() {
    const { closing } = this.state;
    const names = ['at rest', 'at first touch', 'at work'];
    const near = names[Math.round(closing)];
    this.words.textContent = Math.abs(closing - Math.round(closing)) < 0.02 ? near : 'in between';
  }
  resize() {
    const rect = this.canvas.getBoundingClientRect();
    const ratio = window.devicePixelRatio || 1;
    if (!rect.width || !rect.height) return;
    this.canvas.width = Math.round(rect.width * ratio);
    this.canvas.height = Math.round(rect.height * ratio);
    this.draw();
  }
  draw() {
    if (this.waiting || !this.program) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.frame(false);
    });
  }
  frame(picking) {
    const { gl, canvas, state } = this;
    if (!canvas.isConnected) return;
    const lifts = liftsOf(this.groups, state.closing, state.apart);
    const { middle, radius } = this.ball(lifts);
    const scale = (Math.min(canvas.width, canvas.height) / 2 / radius) * 0.96 * state.zoom;
    const look = lookMatrix({ ...state, scale, middle, wide: canvas.width, high: canvas.height });
    if (!picking) this.nameThem(look, lifts);
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    const at = name => gl.getUniformLocation(this.program, name);
    gl.uniformMatrix4fv(at('look'), false, look);
    gl.uniform1fv(
      at('lifts'),
      new Float32Array(MOST_GROUPS).map((_none, i) => lifts[i] || 0),
    );
    gl.uniform1f(at('picking'), picking ? 1 : 0);
    const { picked } = this.page;
    const marked = picked ? this.things.findIndex(what => what?.kind === picked.kind && what.id === picked.id) : -1;
    gl.uniform1f(at('marked'), Math.max(0, marked));
    gl.disable(gl.BLEND);
    gl.depthMask(true);
    gl.drawArrays(gl.TRIANGLES, 0, this.solid);
    if (picking) return;
    gl.drawArrays(gl.LINES, this.all, this.edges);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    gl.depthMask(false);
    gl.drawArrays(gl.TRIANGLES, this.solid, this.all - this.solid);
    gl.depthMask(true);
  }
  pick(event) {
    const { gl, canvas } = this;
    const rect = canvas.getBoundingClientRect();
    const ratio = canvas.width / rect.width;
    this.frame(true);
    const pixel = new Uint8Array(4);
    const x = (event.clientX - rect.left) * ratio;
    const y = canvas.height - (event.clientY - rect.top) * ratio;
    gl.readPixels(x, y, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, pixel);
    const what = this.things[pixel[0] + 256 * pixel[1] + 65536 * pixel[2]];
    this.frame(false);
    if (what?.kind) this.onPick(what);
  }
}
