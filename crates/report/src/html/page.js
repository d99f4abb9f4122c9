'use strict';
// Zoom to single reports. Everything else on the page works without this.
(() => {
  const all = JSON.parse(document.getElementById('reports').textContent);
  const SVG = 'http://www.w3.org/2000/svg';
  const W = 960, H = 260, LEFT = 62, RIGHT = 70, TOP = 24, FOOT = 46;
  const within = (v, low, high) => Math.min(Math.max(v, low), high);
  const make = (name, facts, parent, text) => {
    const e = document.createElementNS(SVG, name);
    for (const key in facts) e.setAttribute(key, facts[key]);
    if (text !== undefined) e.textContent = text;
    return parent.appendChild(e);
  };
  const element = (name, parent, text) => {
    const e = document.createElement(name);
    if (text !== undefined) e.textContent = text;
    return parent.appendChild(e);
  };
  const ticks = (low, high, count) => {
    const rough = (high - low) / count, power = 10 ** Math.floor(Math.log10(rough));
    const step = [1, 2, 5, 10].map(f => f * power).find(s => s >= rough * 0.999);
    const out = [];
    for (let i = Math.ceil(low / step); i * step <= high; i++) out.push(+(i * step).toPrecision(6));
    return out;
  };

  // One swipe under the lens.
  const lens = (trace, after) => {
    const n = trace.um.length;
    const speed = i => trace.um[i] / trace.slot;                // µm per µs is m/s
    const expected = i => {
      const place = i / trace.every, k = Math.floor(place), e = trace.expected;
      const a = e[Math.min(k, e.length - 1)], b = e[Math.min(k + 1, e.length - 1)];
      return Math.max(0, (a + (b - a) * (place - k)) / 1000);
    };
    let from = 0, to = n, cursor = 0;
    const box = document.createElement('section');
    box.className = 'lens';
    box.setAttribute('aria-label', 'Single reports of ' + trace.name);
    const bar = element('div', box);
    const dial = element('div', box);
    dial.className = 'dial';
    const said = element('output', box);
    element('p', box, 'Arrow keys move along, Shift by ten; plus and minus zoom, 0 shows the whole swipe, Escape closes.');
    Object.entries({
      role: 'slider', tabindex: '0', 'aria-orientation': 'horizontal', 'aria-label': 'Place in ' + trace.name,
      'aria-valuemin': '0', 'aria-valuemax': String(n - 1),
    }).forEach(([key, value]) => dial.setAttribute(key, value));
    const svg = make('svg', { viewBox: `0 0 ${W} ${H}`, 'aria-hidden': 'true' }, dial);
    const x = i => LEFT + (i - from) / (to - from) * (W - LEFT - RIGHT);

    const tell = () => {
      const ms = (cursor * trace.slot / 1000).toFixed(2), at = ((trace.begin + cursor * trace.slot) / 1e6).toFixed(6);
      const reports = +trace.n[cursor];
      const heard = reports === 0 ? 'no report' : reports === 1 ? '1 report' : reports + ' reports';
      const v = speed(cursor), e = expected(cursor);
      const text = `${ms} ms (${at} s): ${heard}, ${trace.um[cursor]} µm, ${v.toFixed(2)} m/s (${(v / 0.0254).toFixed(0)} in/s) counted, `
        + `${e.toFixed(2)} m/s (${(e / 0.0254).toFixed(0)} in/s) expected`;
      said.textContent = text;
      dial.setAttribute('aria-valuenow', String(cursor));
      dial.setAttribute('aria-valuetext', text);
    };

    const draw = () => {
      svg.replaceChildren();
      let top = 0.1, low = 0;
      for (let i = from; i < to; i++) { top = Math.max(top, speed(i), expected(i)); low = Math.min(low, speed(i)); }
      top *= 1.08;
      const foot = H - FOOT;
      const y = v => foot - (v - low) / (top - low) * (foot - TOP);
      make('rect', { class: 'panel', x: LEFT, y: TOP, width: W - LEFT - RIGHT, height: foot - TOP }, svg);
      for (const v of ticks(low, top, 4)) {
        make('line', { class: 'rule', x1: LEFT, x2: W - RIGHT, y1: y(v), y2: y(v) }, svg);
        make('text', { class: 'faint', x: LEFT - 6, y: y(v) + 4, 'text-anchor': 'end' }, svg, v + ' m/s');
      }
      for (const v of ticks(low / 0.0254, top / 0.0254, 4))
        make('text', { class: 'faint', x: W - RIGHT + 6, y: y(v * 0.0254) + 4 }, svg, v + ' in/s');
      for (const t of ticks(from * trace.slot / 1000, to * trace.slot / 1000, 8))
        make('text', { class: 'faint', x: x(t * 1000 / trace.slot), y: foot + 32, 'text-anchor': 'middle' }, svg, t + ' ms');
      let ridge = `M${x(from)} ${y(0)}L${x(from)} ${y(expected(from)).toFixed(1)}`;
      const by = Math.max(1, Math.floor((to - from) / 300));
      for (let i = from; i < to; i += by) ridge += `L${x(i + 0.5).toFixed(1)} ${y(expected(i)).toFixed(1)}`;
      make('path', { class: 'ridge', d: ridge + `L${x(to)} ${y(expected(to - 1)).toFixed(1)}L${x(to)} ${y(0)}Z` }, svg);
      const width = (W - LEFT - RIGHT) / (to - from);
      if (width >= 3) {
        // Single reports: a column each, and hatching where one is due and none came.
        for (let i = from; i < to; i++) {
          const v = trace.n[i] === '0' ? expected(i) : speed(i);
          const [a, b] = [y(Math.max(v, 0)), y(Math.min(v, 0))];
          make('rect', { class: trace.n[i] === '0' ? 'one empty' : 'one', x: x(i) + 0.5, y: a, width: width - 1, height: Math.max(b - a, 0.5) }, svg);
        }
      } else {
        // Least and largest of each pixel: a single report never vanishes.
        const pixels = W - LEFT - RIGHT;
        let d = '';
        for (let p = 0; p < pixels; p++) {
          const a = Math.floor(from + p / width), b = Math.max(a + 1, Math.floor(from + (p + 1) / width));
          let least = Infinity, largest = -Infinity;
          for (let i = a; i < Math.min(b, to); i++) { const v = speed(i); least = Math.min(least, v); largest = Math.max(largest, v); }
          if (least <= largest) d += `${d ? 'L' : 'M'}${LEFT + p} ${y(largest).toFixed(1)}L${LEFT + p} ${y(least).toFixed(1)}`;
        }
        make('path', { class: 'counted', d }, svg);
      }
      let strip = '';
      for (let i = from; i < to; i++) if (trace.n[i] !== '0') strip += `M${x(i + 0.5).toFixed(1)} ${foot + 4}v10`;
      make('path', { class: 'arrival', d: strip }, svg);
      make('line', { class: 'base', x1: LEFT, x2: W - RIGHT, y1: y(0), y2: y(0) }, svg);
      make('line', { class: 'cursor', x1: x(cursor + 0.5), x2: x(cursor + 0.5), y1: TOP - 8, y2: foot + 16 }, svg);
      make('text', { class: 'small', x: LEFT, y: 15 }, svg, `${trace.name}: ${((to - from) * trace.slot / 1000).toFixed(1)} ms of ${(n * trace.slot / 1000).toFixed(1)} ms`);
      box.dataset.shown = String(to - from);
      tell();
    };

    const zoom = factor => {
      const length = within(Math.round((to - from) * factor), Math.min(12, n), n);
      from = within(Math.round(cursor - length / 2), 0, n - length);
      to = from + length;
      draw();
    };
    const move = by => {
      cursor = within(cursor + by, 0, n - 1);
      const length = to - from;
      if (cursor < from) from = cursor;
      if (cursor >= to) from = cursor - length + 1;
      to = from + length;
      draw();
    };
    const close = () => { box.remove(); after.setAttribute('aria-expanded', 'false'); after.focus(); };
    const whole = () => { from = 0; to = n; draw(); };
    const keys = {
      ArrowLeft: s => move(s ? -10 : -1), ArrowRight: s => move(s ? 10 : 1), ArrowDown: s => move(s ? -10 : -1), ArrowUp: s => move(s ? 10 : 1),
      Home: () => move(-n), End: () => move(n), PageUp: () => move(to - from), PageDown: () => move(from - to),
      '+': () => zoom(0.5), '=': () => zoom(0.5), '-': () => zoom(2), 0: whole, Escape: close,
    };
    dial.addEventListener('keydown', e => {
      if (e.ctrlKey || e.metaKey || e.altKey || !keys[e.key]) return;
      e.preventDefault();
      keys[e.key](e.shiftKey && e.key !== '+');
    });
    const under = e => {
      const r = svg.getBoundingClientRect();
      const share = ((e.clientX - r.left) / r.width * W - LEFT) / (W - LEFT - RIGHT);
      return within(Math.floor(from + share * (to - from)), from, to - 1);
    };
    dial.addEventListener('pointermove', e => { cursor = under(e); draw(); });
    dial.addEventListener('dblclick', e => { cursor = under(e); zoom(0.4); });
    for (const [name, act] of [['Closer', () => zoom(0.5)], ['Wider', () => zoom(2)], ['Earlier', () => move(from - to)], ['Later', () => move(to - from)], ['Whole swipe', whole], ['Close', close]]) {
      const b = element('button', bar, name);
      b.type = 'button';
      b.addEventListener('click', act);
    }
    // Where counted and expected first part is where one looks.
    let worst = 0;
    for (let i = 0, sum = 0; i < n; i++) { sum = Math.max(0, sum * 0.9 + expected(i) - speed(i)); if (sum > worst) { worst = sum; cursor = i; } }
    after.after(box);
    draw();
    return { dial, close };
  };

  for (const button of document.querySelectorAll('button.zoom')) {
    const trace = all[button.dataset.swipe];
    if (!trace || !trace.um.length) continue;
    button.hidden = false;
    let open = null;
    button.addEventListener('click', () => {
      if (button.getAttribute('aria-expanded') === 'true') { open.close(); return; }
      open = lens(trace, button);
      button.setAttribute('aria-expanded', 'true');
      open.dial.focus();
    });
  }

  // A link into something folded opens it, and takes the keyboard along.
  const land = () => {
    let to = null;
    try { to = document.getElementById(decodeURIComponent(location.hash.slice(1))); } catch { return; }
    if (!to) return;
    const folded = to.closest('details');
    if (folded) { folded.open = true; to.scrollIntoView(); }
    if (to.hasAttribute('tabindex')) to.focus({ preventScroll: true });
  };
  addEventListener('hashchange', land);
  if (location.hash) land();
})();
