'use strict';
// Everything works without this script but sorting, filtering, zooming and reading values off a plot.
(() => {
  const data = JSON.parse(document.getElementById('series').textContent);
  const whole = data.to > data.from ? [data.from, data.to] : [data.from - 1, data.from + 1];
  const SVG = 'http://www.w3.org/2000/svg';
  const STEPS = [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900,
    1800, 3600, 7200, 10800, 21600, 43200, 86400];
  const LEAST = 0.002;
  // Pixels of a letter at the most, on average.
  const LETTER = 7;
  let view = whole.slice();
  // Whether heights follow the time shown.
  let fits = true;
  let marked = null;
  let lastAt = null;
  const stages = [];

  const element = (name, attributes, text) => {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    if (text !== undefined) made.textContent = text;
    return made;
  };
  const trim = (value) => String(Number(value.toFixed(3)));
  const minus = (text) => text.replace('-', '−');

  function timeText(at, step) {
    const sign = at < 0 ? '−' : '';
    at = Math.abs(at);
    if (at < 60 || step < 1) {
      const decimals = step >= 1 ? 0 : Math.min(6, Math.max(1, Math.ceil(-Math.log10(step) - 1e-9)));
      return sign + at.toFixed(decimals) + ' s';
    }
    let rest = Math.round(at);
    const parts = [];
    for (const [length, unit] of [[86400, 'd'], [3600, 'h'], [60, 'min'], [1, 's']]) {
      const count = Math.floor(rest / length);
      rest -= count * length;
      if (count > 0) parts.push(count + ' ' + unit);
    }
    return sign + parts.join(' ');
  }

  function valueText(value, unit) {
    const size = Math.abs(value);
    const of = (units) => {
      for (const [least, name] of units) if (size >= least) return minus(trim(value / least)) + ' ' + name;
      return '0';
    };
    if (unit === 'ns') return size === 0 ? '0 s' : of([[1e9, 's'], [1e6, 'ms'], [1e3, 'µs'], [1e-9, 'ns']].map(([l, n]) => [n === 'ns' ? Math.min(1, size) : l, n]));
    if (unit === 'b/s') return size < 1 ? trim(value) + ' b/s' : of([[1e9, 'Gb/s'], [1e6, 'Mb/s'], [1e3, 'kb/s'], [1, 'b/s']]);
    if (unit === '%') return trim(value) + ' %';
    return trim(value);
  }

  // A value on an axis whose lines are a step apart: with as many decimals as tell it from its neighbour.
  function lineText(value, step, unit) {
    const size = Math.abs(value);
    const units = { ns: [[1e9, 's'], [1e6, 'ms'], [1e3, 'µs'], [1, 'ns']], 'b/s': [[1e9, 'Gb/s'], [1e6, 'Mb/s'], [1e3, 'kb/s'], [1, 'b/s']] }[unit];
    if (!units) return trim(value);
    if (size < step * 1e-6) return unit === 'ns' ? '0 s' : '0 b/s';
    const [length, name] = units.find(([least]) => size >= least) || units[units.length - 1];
    const decimals = Math.min(9, Math.max(0, Math.ceil(-Math.log10(step / length) - 1e-9)));
    return minus((value / length).toFixed(decimals)) + ' ' + name;
  }

  class Stage {
    constructor(node) {
      this.node = node;
      this.plot = data.plots[node.dataset.plot];
      this.overTime = this.plot.time;
      this.symbol = node.querySelector('symbol');
      this.fullBox = this.symbol.getAttribute('viewBox').split(' ').map(Number);
      this.readout = node.parentElement.querySelector('.readout');
      this.drawings = [...node.querySelectorAll('svg.plot')].map((svg) => ({
        svg,
        box: svg.dataset.box.split(' ').map(Number),
        size: svg.getAttribute('viewBox').split(' ').map(Number).slice(2),
        times: svg.querySelector('.times'),
        values: svg.querySelector('.values'),
        labels: svg.querySelector('.labels'),
        cursor: svg.querySelector('.cursor'),
      }));
      for (const drawing of this.drawings) drawing.whole = [...drawing.values.childNodes];
      this.range = this.plot.y;
      this.at = null;
      this.drag = null;
      this.fingers = new Map();
      if (this.overTime) this.refine();
      node.dataset.ready = '';
      node.tabIndex = 0;
      node.setAttribute('role', 'application');
      node.setAttribute('aria-roledescription', 'plot');
      node.setAttribute('aria-label', node.getAttribute('aria-label') + '. Left and right arrow read values'
        + (this.overTime ? ', plus and minus zoom, Escape shows the whole capture.' : '.'));
      node.addEventListener('pointermove', (event) => this.move(event));
      node.addEventListener('pointerleave', (event) => { if (this.drag === null && event.pointerType !== 'touch') this.leave(); });
      node.addEventListener('pointerdown', (event) => this.press(event));
      node.addEventListener('pointerup', (event) => this.release(event));
      node.addEventListener('pointercancel', (event) => { this.drag = null; this.lift(event); this.draw(); });
      node.addEventListener('dblclick', () => { if (this.overTime) show(whole); });
      node.addEventListener('keydown', (event) => this.key(event));
      // Of many plots only the one in use is read out.
      node.addEventListener('focus', () => this.readout.setAttribute('role', 'status'));
      node.addEventListener('blur', () => this.readout.removeAttribute('role'));
    }

    span() { return this.overTime ? view : this.plot.x; }
    shown() { return this.drawings.find((drawing) => drawing.svg.getClientRects().length > 0) || this.drawings[0]; }

    // Lines as they are known: the picture has them in whole steps of its box, too coarse for a part of a day.
    refine() {
      const [left, top, width, height] = this.fullBox;
      const { x: [from, to], y: [low, high], lines } = this.plot;
      const drawn = [...this.symbol.querySelectorAll('polyline')];
      for (const [, points] of lines) {
        const wanted = Math.max(2, points.length);
        while (drawn.length && drawn[0].points.numberOfItems !== wanted) drawn.shift();
        const line = drawn.shift();
        if (!line) return;
        const ends = points.length === 1 ? [points[0], points[0]] : points;
        const place = ([at, value]) => ((at - from) / (to - from) * width + left).toFixed(4) + ','
          + ((high - value) / (high - low) * height + top).toFixed(2);
        line.setAttribute('points', ends.map(place).join(' '));
      }
    }

    // How far across a pointer is: 0 at the left end of the data, 1 at the right.
    part(clientX) {
      const drawing = this.shown();
      const rect = drawing.svg.getBoundingClientRect();
      const [left, , width] = drawing.box;
      return ((clientX - rect.left) * drawing.size[0] / rect.width - left) / width;
    }

    place(event) {
      const drawing = this.shown();
      const rect = drawing.svg.getBoundingClientRect();
      const scale = drawing.size[0] / rect.width;
      const [, top, , height] = drawing.box;
      const part = this.part(event.clientX);
      const down = ((event.clientY - rect.top) * scale - top) / height;
      const [from, to] = this.span();
      const [low, high] = this.range;
      return { at: from + Math.min(1, Math.max(0, part)) * (to - from), value: high - down * (high - low) };
    }

    move(event) {
      if (this.fingers.has(event.pointerId) && this.slide(event)) return;
      const { at, value } = this.place(event);
      this.at = at;
      this.tell(value);
      if (this.overTime) lastAt = at;
      drawCursors(this);
    }

    leave() { this.at = null; lastAt = null; this.readout.hidden = true; drawCursors(this); }

    press(event) {
      if (event.button !== 0) return;
      if (!this.overTime) { if (event.pointerType === 'touch') this.tap(event); return; }
      if (event.pointerType === 'touch') { this.touch(event); return; }
      this.drag = this.place(event).at;
      this.node.setPointerCapture(event.pointerId);
    }

    // A finger holds the instant it was put on: one moves the time shown, two stretch it.
    touch(event) {
      if (this.fingers.size > 1) return;
      this.tapped = this.fingers.size === 0 && { x: event.clientX, y: event.clientY };
      this.fingers.set(event.pointerId, event.clientX);
      this.hold();
    }

    hold() {
      const [from, to] = view;
      this.held = [...this.fingers].map(([id, clientX]) => [id, from + this.part(clientX) * (to - from)]);
    }

    lift(event) { if (this.fingers.delete(event.pointerId)) this.hold(); }

    // Whether the time shown follows the fingers; one finger on the whole capture reads values.
    slide(event) {
      this.fingers.set(event.pointerId, event.clientX);
      const length = view[1] - view[0];
      const [[one, first], other] = this.held;
      const at = this.part(this.fingers.get(one));
      if (other === undefined) {
        if (length >= whole[1] - whole[0]) return false;
        show([first - at * length, first + (1 - at) * length]);
        return true;
      }
      const apart = this.part(this.fingers.get(other[0])) - at;
      const stretched = (other[1] - first) / apart;
      // Fingers that meet or pass one another say nothing.
      if (Math.abs(apart) > 0.01 && stretched > 0) show([first - at * stretched, first + (1 - at) * stretched]);
      return true;
    }

    // A tap reads values, and they stay until the next one.
    tap(event) {
      for (const other of stages) if (other !== this) { other.at = null; other.readout.hidden = true; }
      const { at, value } = this.place(event);
      this.at = at;
      this.tell(value);
      if (this.overTime) lastAt = at;
      drawCursors(this);
    }

    release(event) {
      const first = this.fingers.size === 1 && this.tapped;
      if (first && Math.abs(first.x - event.clientX) < 8 && Math.abs(first.y - event.clientY) < 8) this.tap(event);
      this.lift(event);
      if (this.drag === null) return;
      const span = [this.drag, this.place(event).at].sort((one, other) => one - other);
      this.drag = null;
      if (span[1] - span[0] > (view[1] - view[0]) / 200) show(span);
      else this.draw();
    }

    key(event) {
      const [from, to] = this.span();
      const step = (to - from) / (event.shiftKey ? 20 : 200);
      const at = this.at === null ? (from + to) / 2 : this.at;
      const moves = { ArrowLeft: at - step, ArrowRight: at + step, Home: from, End: to };
      if (event.key in moves) {
        this.at = Math.min(to, Math.max(from, moves[event.key]));
        if (this.overTime) lastAt = this.at;
        this.tell(null);
        drawCursors(this);
      } else if (this.overTime && (event.key === '+' || event.key === '=')) move('closer', at);
      else if (this.overTime && event.key === '-') move('wider', at);
      else if (event.key === 'Escape') { if (this.overTime) show(whole); this.leave(); }
      else return;
      event.preventDefault();
    }

    // What stands at a place: value null takes every row.
    tell(value) {
      const { plot, at } = this;
      const [from, to] = this.span();
      const near = (to - from) / 100;
      const texts = [];
      // A line with holes is told in pieces of one name.
      const lines = new Map();
      for (const [name, points] of plot.lines) {
        // Between pieces there is no sample to tell of.
        if (!points.length || at < points[0][0] - near || at > points[points.length - 1][0] + near) continue;
        const point = nearest(points, at);
        const known = lines.get(name);
        if (point && !(known && Math.abs(known[0] - at) <= Math.abs(point[0] - at))) lines.set(name, point);
      }
      for (const [name, point] of lines) {
        const told = plot.unit === '10^' ? valueText(10 ** point[1], 'ns') : valueText(point[1], plot.unit);
        const place = this.overTime ? timeText(point[0], 0.000001) : valueText(10 ** point[0] * 1e9, 'ns');
        texts.push(name + ' ' + told + ' at ' + place);
      }
      for (const [name, lower, upper] of plot.areas) {
        const index = upper.findIndex((point, place) => point[0] <= at && (upper[place + 1] || point)[0] >= at);
        if (index >= 0 && upper[index][1] > lower[index][1]) {
          texts.push(name + ' ' + valueText(upper[index][1] - lower[index][1], plot.unit));
        }
      }
      for (const [x0, x1, y0, y1, text] of plot.blocks) {
        const row = value === null || plot.unit === '%' || (value >= Math.floor(y0) && value < Math.floor(y0) + 1);
        if (row && at >= x0 - near / 10 && at <= x1 + near / 10) texts.push(text);
      }
      for (const [x0, x1, text] of plot.unwatched) if (at >= x0 && at <= x1) texts.push(text);
      for (const [x, text] of plot.uprights) if (Math.abs(x - at) < near) texts.push(text);
      const when = this.overTime ? timeText(at, (to - from) / 1000) + ': ' : '';
      this.readout.textContent = when + (texts.length ? texts.join('; ') : plot.lines.length ? 'no sample here' : 'nothing here');
      this.readout.hidden = false;
    }

    zoom() {
      const [left, top, width, height] = this.fullBox;
      const [from, to] = this.plot.x;
      const scale = width / (to - from);
      this.range = this.fitted();
      const [low, high] = this.plot.y;
      const [least, most] = this.range;
      const upright = height / (high - low);
      this.symbol.setAttribute('viewBox', [left + (view[0] - from) * scale, least === low && most === high ? top : top + (high - most) * upright,
        (view[1] - view[0]) * scale, least === low && most === high ? height : (most - least) * upright].join(' '));
      for (const drawing of this.drawings) {
        this.axes(drawing);
        this.heights(drawing);
      }
      this.draw();
    }

    // From the lowest to the highest value in the time shown, where that is much less than the whole.
    fitted() {
      const { plot } = this;
      const [low, high] = plot.y;
      const isWhole = view[1] - view[0] >= whole[1] - whole[0];
      if (!fits || isWhole || !this.overTime || !['ns', 'b/s'].includes(plot.unit)) return plot.y;
      let [least, most] = [Infinity, -Infinity];
      const take = (value) => { least = Math.min(least, value); most = Math.max(most, value); };
      for (const [, points] of plot.lines) {
        points.forEach(([at, value], index) => {
          // A line that leaves the time shown is seen up to its edge.
          const before = index > 0 ? points[index - 1][0] : at;
          const after = index + 1 < points.length ? points[index + 1][0] : at;
          if (after >= view[0] && before <= view[1]) take(value);
        });
      }
      for (const [, , upper] of plot.areas) {
        upper.forEach(([at, value], index) => {
          const after = index + 1 < upper.length ? upper[index + 1][0] : at;
          if (after >= view[0] && at <= view[1]) take(value);
        });
      }
      for (const [at, value] of plot.stems) if (at >= view[0] && at <= view[1]) take(value);
      if (plot.areas.length) least = Math.min(least, 0);
      if (least > most) return plot.y;
      const room = Math.max((most - least) * 0.06, (high - low) * 1e-6);
      const range = [plot.areas.length ? 0 : Math.max(low, least - room), Math.min(high, most + room)];
      return range[1] - range[0] < (high - low) * 0.7 ? range : plot.y;
    }

    // The lines of the values shown, or those of the whole.
    heights(drawing) {
      const [low, high] = this.range;
      if (this.range === this.plot.y) { drawing.values.replaceChildren(...drawing.whole); return; }
      const [left, top, width, height] = drawing.box;
      const power = 10 ** Math.floor(Math.log10((high - low) / 5));
      const step = [1, 2, 5, 10].map((times) => times * power).find((step) => step >= (high - low) / 5);
      const lines = [element('line', { x1: left, x2: left, y1: top, y2: top + height, stroke: '#D5D0C4' }),
        element('line', { x1: left, x2: left + width, y1: top + height, y2: top + height, stroke: '#D5D0C4' })];
      for (let index = Math.ceil(low / step - 1e-9); index * step <= high + step * 1e-9; index += 1) {
        const at = top + (high - index * step) / (high - low) * height;
        lines.push(element('line', { x1: left - 5, x2: left + width, y1: at, y2: at, stroke: '#D5D0C4' }),
          element('text', { x: left - 9, y: at, dy: '0.35em', 'text-anchor': 'end' }, lineText(index * step, step, this.plot.unit)));
      }
      drawing.values.replaceChildren(...lines);
    }

    axes(drawing) {
      const [left, top, width, height] = drawing.box;
      const wanted = drawing.size[0] < 600 ? 3 : 5;
      const least = (view[1] - view[0]) / wanted;
      let step = STEPS.find((step) => step >= least) || Math.ceil(least / 86400) * 86400;
      const within = (step) => Math.floor(view[1] / step + 1e-9) - Math.ceil(view[0] / step - 1e-9) + 1;
      // One line alone tells no scale.
      if (within(step) < 2) step = STEPS.slice(0, Math.max(1, STEPS.indexOf(step))).pop();
      const x = (at) => left + (at - view[0]) / (view[1] - view[0]) * width;
      let free = -Infinity;
      drawing.times.replaceChildren();
      for (let index = Math.ceil(view[0] / step - 1e-9); index * step <= view[1] + step * 1e-9; index += 1) {
        const at = x(index * step);
        drawing.times.append(
          element('line', { x1: at, x2: at, y1: top, y2: top + height + 5, stroke: '#D5D0C4' }),
        );
        const text = timeText(index * step, step);
        const half = text.length * LETTER / 2;
        // At the edges within them: a part of a number is another number.
        const anchor = at - half < 0 ? 'start' : at + half > drawing.size[0] ? 'end' : 'middle';
        const begins = anchor === 'start' ? at : anchor === 'end' ? at - 2 * half : at - half;
        if (begins < free) continue;
        free = begins + 2 * half + LETTER;
        drawing.times.append(element('text', { x: at, y: top + height + 19, 'text-anchor': anchor }, text));
      }
      drawing.labels.replaceChildren();
      const [low, high] = this.range;
      const from = this.plot.x[0];
      for (const [at, value, short, until, long, columns] of this.plot.labels) {
        // What stands at the left edge names its row and stays there.
        const isName = at === from && short[0] !== ' ';
        const covered = this.plot.blocks.find((block) => block[0] === at && block[2] < value && block[3] > value - 0.05);
        let where = isName ? view[0] : at;
        if (!isName && covered && covered[1] > view[0]) where = Math.max(at, view[0]);
        if (where < view[0] || where > view[1] || value > high + (high - low) * 1e-9 || value < low) continue;
        const fits = long !== undefined && columns * LETTER <= x(Math.min(until, view[1])) - x(where);
        const text = fits ? long : short;
        drawing.labels.append(element('text', { x: x(where), y: top + (high - value) / (high - low) * height, dy: '0.76em' }, text));
      }
    }

    draw() {
      const [from, to] = this.span();
      for (const { box: [left, top, width, height], cursor } of this.drawings) {
        const x = (at) => left + (at - from) / (to - from) * width;
        cursor.replaceChildren();
        if (this.overTime && marked !== null && marked >= from && marked <= to) {
          const at = x(marked);
          cursor.append(element('line', { class: 'event', x1: at, x2: at, y1: top, y2: top + height }),
            element('path', { class: 'flag', d: `M${at - 6} ${top - 9}h12l-6 9z` }));
        }
        if (this.drag !== null && this.at !== null) {
          const [one, other] = [x(this.drag), x(this.at)].sort((a, b) => a - b);
          cursor.append(element('rect', { class: 'drag', x: one, y: top, width: other - one, height }));
        }
        const at = this.overTime ? lastAt : this.at;
        if (at !== null && at >= from && at <= to) {
          cursor.append(element('line', { class: 'here', x1: x(at), x2: x(at), y1: top, y2: top + height }));
        }
      }
    }
  }

  function nearest(points, at) {
    let [low, high] = [0, points.length - 1];
    if (high < 0) return null;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (points[middle][0] < at) low = middle; else high = middle;
    }
    return Math.abs(points[low][0] - at) <= Math.abs(points[high][0] - at) ? points[low] : points[high];
  }

  function drawCursors(of) {
    if (!of.overTime) { of.draw(); return; }
    for (const stage of stages) if (stage.overTime) stage.draw();
  }

  function show(span) {
    const length = Math.max(LEAST, Math.min(span[1] - span[0], whole[1] - whole[0]));
    const from = Math.min(Math.max(span[0], whole[0]), whole[1] - length);
    view = [from, from + length];
    const step = length / 100;
    const is = length >= whole[1] - whole[0];
    document.getElementById('time-shown').textContent = is ? 'whole capture, ' + timeText(data.to - data.from, (data.to - data.from) / 100)
      : timeText(view[0], step) + ' to ' + timeText(view[1], step);
    document.getElementById('time-printed').textContent = is ? ''
      : 'Plots over time show ' + timeText(view[0], step) + ' to ' + timeText(view[1], step) + ' of the capture.';
    for (const stage of stages) if (stage.overTime) stage.zoom();
  }

  function move(how, around) {
    const length = view[1] - view[0];
    const middle = around === undefined ? (view[0] + view[1]) / 2 : around;
    if (how === 'whole') show(whole);
    else if (how === 'closer') show([middle - length / 4, middle + length / 4]);
    else if (how === 'wider') show([middle - length, middle + length]);
    else show(how === 'later' ? [view[0] + length / 2, view[1] + length / 2] : [view[0] - length / 2, view[1] - length / 2]);
  }

  function mark(button) {
    const at = Number(button.dataset.at);
    const again = marked === at && button.getAttribute('aria-pressed') === 'true';
    for (const other of document.querySelectorAll('button.at[aria-pressed]')) other.setAttribute('aria-pressed', 'false');
    marked = again ? null : at;
    button.setAttribute('aria-pressed', String(!again));
    const length = view[1] - view[0];
    if (marked !== null && (at < view[0] || at > view[1])) show([at - length / 2, at + length / 2]);
    for (const stage of stages) {
      if (!stage.overTime) continue;
      if (marked !== null) { stage.at = marked; stage.tell(null); }
      stage.draw();
    }
  }

  for (const node of document.querySelectorAll('.stage')) stages.push(new Stage(node));
  if (stages.some((stage) => stage.overTime)) {
    document.getElementById('time-bar').hidden = false;
    show(whole);
  }
  for (const button of document.querySelectorAll('[data-move]')) {
    button.addEventListener('click', () => move(button.dataset.move));
  }
  const fit = document.getElementById('fit');
  fit.addEventListener('click', () => {
    fits = !fits;
    fit.setAttribute('aria-pressed', String(fits));
    show(view);
  });
  for (const button of document.querySelectorAll('button.at')) {
    button.setAttribute('aria-pressed', 'false');
    button.addEventListener('click', () => mark(button));
  }
  document.documentElement.dataset.ready = 'yes';
})();
