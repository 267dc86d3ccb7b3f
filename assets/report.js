'use strict';
(() => {
  const data = JSON.parse(document.getElementById('data').textContent);
  const parts = new Map();
  for (const el of document.querySelectorAll('[data-f]')) {
    const key = el.dataset.f;
    if (!parts.has(key)) parts.set(key, []);
    parts.get(key).push(el);
  }
  const marks = Object.keys(data).filter((key) => key[0] === 'm');
  const said = document.getElementById('said');
  const behind = document.getElementById('behind');
  const pick = document.getElementById('pick');
  const views = [];
  const PX = 4; // pixels for one drawing unit of a symbol, whatever the zoom
  let selected = null;
  let hovered = null;

  const make = (tag, text) => {
    const el = document.createElement(tag);
    if (text !== undefined) el.textContent = text;
    return el;
  };
  const mark = (key, name, on) => {
    for (const el of parts.get(key) || []) el.classList.toggle(name, on);
  };
  const hover = (key) => {
    if (key === hovered) return;
    if (hovered) mark(hovered, 'hov', false);
    hovered = key;
    if (hovered) mark(hovered, 'hov', true);
  };

  // Every number behind a feature; text only, nothing from the record becomes markup.
  const show = (key) => {
    const entry = data[key];
    const parts = [make('h4', entry.n)];
    for (const [level, message] of entry.w) {
      const p = make('p', `${level}: ${message}`);
      p.className = level;
      parts.push(p);
    }
    for (const [name, facts] of entry.g) {
      parts.push(make('h4', name));
      const list = make('dl');
      for (const [k, v] of facts) list.append(make('dt', k), make('dd', v));
      parts.push(list);
    }
    const all = document.getElementById('t-measurements');
    if (all && entry.q.length) {
      parts.push(make('h4', 'Measurements, adjusted less measured'));
      const scroll = make('div');
      scroll.className = 'scroll';
      scroll.tabIndex = 0;
      scroll.setAttribute('role', 'region');
      scroll.setAttribute('aria-label', `Measurements of ${entry.n}`);
      const table = make('table');
      table.append(all.tHead.cloneNode(true));
      const body = table.createTBody();
      for (const i of entry.q) {
        const row = all.tBodies[0].rows[i].cloneNode(true);
        row.removeAttribute('data-f');
        row.className = '';
        body.append(row);
      }
      scroll.append(table);
      parts.push(scroll);
    }
    behind.replaceChildren(...parts);
  };
  const select = (key, from) => {
    if (!data[key]) return;
    if (selected) mark(selected, 'sel', false);
    selected = key;
    mark(key, 'sel', true);
    pick.value = data[key] && key[0] === 'm' ? key : '';
    show(key);
    said.textContent = data[key].s;
    for (const view of views) if (view !== from) view.reveal(key);
    for (const view of views) {
      view.declutter();
      view.scale(PX / view.k);
    }
  };
  const step = (by) => {
    if (!marks.length) return;
    const at = marks.indexOf(selected);
    const next = at < 0 ? (by > 0 ? 0 : marks.length - 1) : Math.min(marks.length - 1, Math.max(0, at + by));
    select(marks[next]);
  };

  class View {
    constructor(box) {
      this.box = box;
      this.svg = box.querySelector('svg');
      this.layer = box.querySelector('.layer');
      const base = this.svg.viewBox.baseVal;
      this.base = { x: base.x, y: base.y, w: base.width, h: base.height };
      this.spots = new Map();
      this.labels = [];
      this.symbols = [];
      this.all = [];
      for (const el of this.svg.querySelectorAll('.lb, .sy')) {
        const [x, y] = el.getAttribute('transform').match(/-?[\d.]+/g).map(Number);
        const spot = { el, x, y, key: el.dataset.f };
        this.all.push(spot);
        if (el.dataset.b) {
          spot.b = el.dataset.b.split(' ').map(Number);
          // Of an axis or the grid: cut at the border it would be another number that looks right.
          spot.figure = !spot.key && /^([EN] )?[-\d]/.test(el.textContent);
          if (spot.figure) {
            // As wide as this browser's letters are.
            const r = el.getBBox();
            spot.b[0] = Math.min(spot.b[0], r.x);
            spot.b[2] = Math.max(spot.b[2], r.x + r.width);
          }
          this.labels.push(spot);
        } else if (spot.key) {
          if (!this.spots.has(spot.key)) this.spots.set(spot.key, spot);
          if (spot.key[0] === 'm') this.symbols.push(spot);
        }
      }
      // Names come before the figures of axes and grid.
      this.labels.sort((a, b) => (a.key === undefined) - (b.key === undefined));
      box.tabIndex = 0;
      box.setAttribute('role', 'application');
      box.setAttribute('aria-roledescription', 'drawing');
      box.setAttribute('aria-label', box.dataset.label);
      box.setAttribute('aria-describedby', 'how');
      const zoom = box.parentElement.querySelector('.zoom');
      zoom.hidden = false;
      zoom.addEventListener('click', (event) => {
        const what = event.target.dataset.z;
        if (what === 'fit') this.fit();
        else if (what) this.zoom(what === 'in' ? 1.6 : 1 / 1.6);
      });
      this.pointers = new Map();
      this.listen();
    }
    get size() {
      return { w: this.box.clientWidth || 1, h: this.box.clientHeight || 1 };
    }
    fit() {
      const tall = (this.box.clientWidth * this.base.h) / this.base.w;
      this.box.style.height = `${Math.round(Math.max(180, Math.min(tall, innerHeight * 0.7)))}px`;
      const { w, h } = this.size;
      const { base } = this;
      // Figures keep their size while the drawing shrinks: they get room beside it, which makes it smaller again.
      const figures = this.labels.filter((spot) => spot.figure);
      const beyond = (k) => [
        Math.max(0, ...figures.map((s) => 2 - (s.x - base.x) * k - s.b[0] * PX)),
        Math.max(0, ...figures.map((s) => 2 + (s.x - base.x - base.w) * k + s.b[2] * PX)),
      ];
      let [left, right] = [0, 0];
      for (let i = 0; i < 8; i++) {
        this.k = this.least = Math.min((w - left - right) / base.w, h / base.h);
        [left, right] = beyond(this.k);
      }
      this.cx = base.x + base.w / 2 + (right - left) / (2 * this.k);
      this.cy = base.y + base.h / 2;
      this.commit();
    }
    // Draws anew: twice the box's width and height, so that a drag shows what is already drawn.
    commit() {
      const { w, h } = this.size;
      this.at = { cx: this.cx, cy: this.cy, k: this.k };
      const vw = (2 * w) / this.k;
      const vh = (2 * h) / this.k;
      this.svg.setAttribute('viewBox', `${this.cx - vw / 2} ${this.cy - vh / 2} ${vw} ${vh}`);
      this.layer.style.transform = 'translate(0px, 0px)';
      this.declutter();
      this.scale(PX / this.k);
    }
    // Symbols and labels keep their size: one transform each, and only on those that are seen.
    scale(s) {
      for (const spot of this.all) {
        if (spot.shown !== false && spot.s !== s) {
          spot.s = s;
          spot.el.setAttribute('transform', `translate(${spot.x} ${spot.y}) scale(${s})`);
        }
      }
    }
    // Moves what is drawn without drawing it anew.
    preview() {
      if (!this.asked) {
        this.asked = requestAnimationFrame(() => {
          this.asked = 0;
          const { w, h } = this.size;
          const tx = (this.at.cx - this.cx) * this.k;
          const ty = (this.at.cy - this.cy) * this.k;
          const r = this.k / this.at.k;
          if (Math.abs(tx) > w * 0.45 || Math.abs(ty) > h * 0.45 || r > 2.5 || r < 0.5) {
            this.commit();
          } else {
            this.layer.style.transform = `translate(${tx}px, ${ty}px)${r === 1 ? '' : ` scale(${r})`}`;
          }
        });
      }
      this.rest();
    }
    // Once nothing moves any more, and no finger is down.
    rest() {
      clearTimeout(this.settle);
      this.settle = setTimeout(() => (this.pointers.size ? this.rest() : this.commit()), 160);
    }
    zoom(by, px, py) {
      const { w, h } = this.size;
      const k = Math.min(this.least * 400, Math.max(this.least * 0.8, this.k * by));
      const dx = (px === undefined ? w / 2 : px) - w / 2;
      const dy = (py === undefined ? h / 2 : py) - h / 2;
      this.cx += dx / this.k - dx / k;
      this.cy += dy / this.k - dy / k;
      this.k = k;
      this.preview();
    }
    move(dx, dy) {
      this.cx -= dx / this.k;
      this.cy -= dy / this.k;
      this.preview();
    }
    reveal(key) {
      const spot = this.spots.get(key);
      if (!spot) return;
      const { w, h } = this.size;
      const x = (spot.x - this.cx) * this.k + w / 2;
      const y = (spot.y - this.cy) * this.k + h / 2;
      if (x < 30 || y < 30 || x > w - 30 || y > h - 30) {
        this.cx = spot.x;
        this.cy = spot.y;
        this.commit();
      }
    }
    // Shows as many labels and mark symbols as have room; the selected one always.
    declutter() {
      const { w, h } = this.size;
      const taken = new Map();
      const cell = (v) => Math.floor(v / 48);
      const place = (list, box, always) => {
        for (const spot of list) {
          const x = (spot.x - this.cx) * this.k + w / 2;
          const y = (spot.y - this.cy) * this.k + h / 2;
          const inside = x > -w / 2 && y > -h / 2 && x < w * 1.5 && y < h * 1.5;
          let free = inside;
          if (inside) {
            const b = box(spot, x, y);
            const over = (lo, hi, end) => (lo < -1 && hi > 0) || (lo < end && hi > end + 1);
            const cut = spot.figure && (over(b[0], b[2], w) || over(b[1], b[3], h));
            const cells = [];
            for (let i = cell(b[0]); i <= cell(b[2]); i++) for (let j = cell(b[1]); j <= cell(b[3]); j++) cells.push(`${i},${j}`);
            const hit = (o) => o[0] < b[2] && b[0] < o[2] && o[1] < b[3] && b[1] < o[3];
            free = !cut && (always(spot) || !cells.some((c) => (taken.get(c) || []).some(hit)));
            if (free) for (const c of cells) taken.has(c) ? taken.get(c).push(b) : taken.set(c, [b]);
          }
          if (spot.shown !== free) {
            spot.shown = free;
            spot.el.classList.toggle('off', !free);
          }
        }
      };
      const chosen = (spot) => spot.key !== undefined && spot.key === selected;
      const first = (list) => (selected ? [...list.filter(chosen), ...list.filter((s) => !chosen(s))] : list);
      place(first(this.symbols), (s, x, y) => [x - 2.5, y - 2.5, x + 2.5, y + 2.5], chosen);
      taken.clear();
      place(first(this.labels), (s, x, y) => [x + s.b[0] * PX, y + s.b[1] * PX, x + s.b[2] * PX, y + s.b[3] * PX], chosen);
    }
    nearest(px, py) {
      const { w, h } = this.size;
      let best = null;
      let least = 16;
      for (const [key, spot] of this.spots) {
        const d = Math.hypot((spot.x - this.cx) * this.k + w / 2 - px, (spot.y - this.cy) * this.k + h / 2 - py);
        if (d < least) [best, least] = [key, d];
      }
      return best;
    }
    spotOf(event) {
      const r = this.box.getBoundingClientRect();
      return [event.clientX - r.left - this.box.clientLeft, event.clientY - r.top - this.box.clientTop];
    }
    listen() {
      const box = this.box;
      box.addEventListener('pointerdown', (event) => {
        if (event.pointerType === 'mouse' && event.button) return;
        this.pointers.set(event.pointerId, [event.clientX, event.clientY]);
        this.travel = 0;
      });
      box.addEventListener('pointermove', (event) => {
        const before = this.pointers.get(event.pointerId);
        if (!before) return;
        const now = [event.clientX, event.clientY];
        const others = [...this.pointers].filter(([id]) => id !== event.pointerId);
        this.pointers.set(event.pointerId, now);
        if (others.length) {
          const [ox, oy] = others[0][1];
          const r = box.getBoundingClientRect();
          const ratio = Math.hypot(now[0] - ox, now[1] - oy) / Math.max(1, Math.hypot(before[0] - ox, before[1] - oy));
          this.zoom(ratio, (now[0] + ox) / 2 - r.left, (now[1] + oy) / 2 - r.top);
          this.travel = 99;
          return;
        }
        this.travel += Math.hypot(now[0] - before[0], now[1] - before[1]);
        if (this.travel > 4) {
          if (!box.hasPointerCapture(event.pointerId)) box.setPointerCapture(event.pointerId);
          box.classList.add('drag');
          this.move(now[0] - before[0], now[1] - before[1]);
        }
      });
      const up = (event) => {
        if (!this.pointers.delete(event.pointerId)) return;
        box.classList.remove('drag');
        if (event.type === 'pointerup' && this.travel <= 4) {
          const under = event.target.closest('[data-f]');
          const key = this.nearest(...this.spotOf(event)) || (under && under.dataset.f);
          if (key) select(key, this);
        }
      };
      box.addEventListener('pointerup', up);
      box.addEventListener('pointercancel', up);
      box.addEventListener('wheel', (event) => {
        if (!event.ctrlKey && !event.metaKey && document.activeElement !== box) return;
        event.preventDefault();
        this.zoom(Math.exp(-Math.max(-60, Math.min(60, event.deltaY)) * 0.006), ...this.spotOf(event));
      }, { passive: false });
      box.addEventListener('keydown', (event) => {
        if (event.target !== box || event.altKey || event.ctrlKey || event.metaKey) return;
        const far = { ArrowLeft: [60, 0], ArrowRight: [-60, 0], ArrowUp: [0, 60], ArrowDown: [0, -60] }[event.key];
        if (far && (event.shiftKey || far[1])) this.move(...far);
        else if (event.key === 'ArrowLeft') step(-1);
        else if (event.key === 'ArrowRight') step(1);
        else if (event.key === 'Home') select(marks[0]);
        else if (event.key === 'End') select(marks[marks.length - 1]);
        else if (event.key === '+' || event.key === '=') this.zoom(1.6);
        else if (event.key === '-') this.zoom(1 / 1.6);
        else if (event.key === '0') this.fit();
        else return;
        event.preventDefault();
      });
    }
  }

  document.body.classList.add('live');
  document.querySelector('.bar').hidden = false;
  pick.append(make('option', 'none chosen'));
  pick.firstChild.value = '';
  for (const key of marks) {
    const option = make('option', data[key].n);
    option.value = key;
    pick.append(option);
  }
  pick.addEventListener('change', () => select(pick.value));
  document.getElementById('prev').addEventListener('click', () => step(-1));
  document.getElementById('next').addEventListener('click', () => step(1));
  for (const box of document.querySelectorAll('.vp')) views.push(new View(box));
  for (const view of views) view.fit();
  let wide = innerWidth;
  addEventListener('resize', () => {
    // A phone's address bar changes the height alone; that is no reason to lose the place.
    if (innerWidth !== wide) views.forEach((view) => view.fit());
    wide = innerWidth;
  });

  const keyOf = (event) => {
    const el = event.target.closest && event.target.closest('[data-f]');
    return el ? el.dataset.f : null;
  };
  let focused = null;
  document.addEventListener('pointerover', (event) => hover(keyOf(event) || focused));
  document.addEventListener('focusin', (event) => {
    focused = keyOf(event);
    hover(focused);
  });
  document.addEventListener('click', (event) => {
    const key = event.target.closest('td') && keyOf(event);
    if (key) select(key);
  });
  let folded = [];
  addEventListener('beforeprint', () => {
    folded = [...document.querySelectorAll('details:not([open])')];
    for (const el of folded) el.open = true;
    for (const view of views) {
      const b = view.base;
      view.svg.setAttribute('viewBox', `${b.x} ${b.y} ${b.w} ${b.h}`);
      for (const spot of view.all) spot.shown = undefined;
      for (const el of view.svg.querySelectorAll('.off')) el.classList.remove('off');
      view.scale(1);
    }
  });
  addEventListener('afterprint', () => {
    for (const el of folded) el.open = false;
    for (const view of views) view.fit();
  });
})();
