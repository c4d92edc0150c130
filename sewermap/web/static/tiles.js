// Canvas tiles that are painted a few at a time, so that panning never waits, and painted again in place when something changes.
"use strict";
(() => {
  const EDGE = 512, AT_REST_MS = 40, MOVING_MS = 6;
  const queue = new Map();
  let asked = false, moving = false;

  /** The tile's window: pixels of the world, its left and top edge, its edge in pixels, its zoom and its box in world units. */
  function windowOf(coords) {
    const world = sewermap.projection.worldPixels(coords.z), left = coords.x * EDGE, top = coords.y * EDGE;
    return { world, left, top, edge: EDGE, zoom: coords.z, box: [left / world, top / world, (left + EDGE) / world, (top + EDGE) / world] };
  }

  function paintQueued() {
    asked = false;
    const until = performance.now() + (moving ? MOVING_MS : AT_REST_MS);
    for (const [key, paint] of queue) {
      queue.delete(key);
      paint();
      if (performance.now() > until) break;
    }
    if (queue.size) ask();
  }

  function ask() {
    if (asked) return;
    asked = true;
    requestAnimationFrame(paintQueued);
  }

  /** A layer whose tiles are drawn by paint(context, window). */
  const Tiles = L.GridLayer.extend({
    options: { tileSize: EDGE, maxZoom: 22, minZoom: 2, updateWhenIdle: false, keepBuffer: 1, noWrap: true, margin: 0 },
    initialize(paint, options) {
      L.setOptions(this, options);
      this._paint = paint;
    },
    onAdd(map) {
      map.on("movestart", () => { moving = true; });
      map.on("moveend", () => { moving = false; });
      return L.GridLayer.prototype.onAdd.call(this, map);
    },
    createTile(coords, done) {
      const canvas = document.createElement("canvas"), scale = Math.max(1, window.devicePixelRatio || 1);
      canvas.width = canvas.height = EDGE * scale;
      canvas.getContext("2d", { willReadFrequently: true }).setTransform(scale, 0, 0, scale, 0, 0);
      queue.set(canvas, () => {
        this._fill(canvas, coords);
        done(null, canvas);
      });
      ask();
      return canvas;
    },
    _fill(canvas, coords) {
      const context = canvas.getContext("2d");
      // A fresh canvas is clear; cleared once more while a page is printed, Chromium puts white over what lies below.
      if (canvas.painted) context.clearRect(0, 0, EDGE, EDGE);
      canvas.painted = true;
      this._paint(context, windowOf(coords));
    },
    /** Paint again what is on the screen: all of it, or the tiles that a box (world units) and the pixels around it touch. */
    repaint(box) {
      for (const { el, coords } of Object.values(this._tiles || {})) {
        const frame = windowOf(coords), margin = this.options.margin / frame.world;
        const wide = [frame.box[0] - margin, frame.box[1] - margin, frame.box[2] + margin, frame.box[3] + margin];
        if (box && !sewermap.cityCells.meets(wide, box)) continue;
        const before = queue.get(el);
        queue.set(el, before || (() => this._fill(el, coords)));
      }
      ask();
      return this;
    },
    redraw() {
      return this.repaint(null);
    },
  });

  /** Is nothing waiting to be painted or loaded? */
  function quiet() {
    return queue.size === 0 && !sewermap.cityCells.waiting();
  }

  /** Paint at once all that waits: a printer does not. */
  function flush() {
    for (const [canvas, paint] of queue) {
      queue.delete(canvas);
      paint();
    }
  }

  sewermap.tiles = { Tiles, quiet, flush };
})();
