// The ground: parcels, buildings, streets and mains, drawn tile by tile on canvas.
"use strict";
(() => {
  const PAPER = "#f4f2ec", PARCEL = "#c3bfb3", BUILDING = "#dcdad5", BUILDING_EDGE = "#bdbab2";
  const CASING = "#cbc7bc", STREET = "#ffffff", MAIN = "#6d7f8c";
  const STREET_WIDTH_M = 7; // drawn width only; a street's real width is not known
  const EDGE = 512;

  /** A layer whose tiles are drawn by paint(context, window): the window's world box, its pixel scale and its zoom. */
  const CanvasTiles = L.GridLayer.extend({
    options: { tileSize: EDGE, maxZoom: 22, minZoom: 2, updateWhenIdle: false, keepBuffer: 1, noWrap: true },
    initialize(paint, options) {
      L.setOptions(this, options);
      this._paint = paint;
    },
    createTile(coords) {
      const canvas = document.createElement("canvas");
      const scale = Math.max(1, window.devicePixelRatio || 1);
      canvas.width = canvas.height = EDGE * scale;
      const context = canvas.getContext("2d");
      context.scale(scale, scale);
      const world = sewermap.projection.worldPixels(coords.z);
      this._paint(context, { world, left: coords.x * EDGE, top: coords.y * EDGE, edge: EDGE, zoom: coords.z });
      return canvas;
    },
  });

  /** Does the part's box, widened by margin pixels, touch the window? */
  function touches(boxes, part, frame, margin) {
    const { world, left, top, edge } = frame, at = 4 * part;
    return boxes[at] * world <= left + edge + margin && boxes[at + 2] * world >= left - margin &&
      boxes[at + 1] * world <= top + edge + margin && boxes[at + 3] * world >= top - margin;
  }

  /** Add every part that touches the window to the path. */
  function trace(context, shapes, frame, margin, closed) {
    const { x, y, starts, boxes } = shapes, { world, left, top } = frame;
    for (let part = 0; part < starts.length - 1; part += 1) {
      if (!touches(boxes, part, frame, margin)) continue;
      context.moveTo(x[starts[part]] * world - left, y[starts[part]] * world - top);
      for (let i = starts[part] + 1; i < starts[part + 1]; i += 1) context.lineTo(x[i] * world - left, y[i] * world - top);
      if (closed) context.closePath();
    }
  }

  function stroke(context, colour, width) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.lineCap = context.lineJoin = "round";
    context.stroke();
  }

  /** Width in pixels of a street at a zoom, from true metres in the middle of the town. */
  function streetWidth(frame, scale) {
    return Math.min(60, Math.max(2, STREET_WIDTH_M * scale * frame.world));
  }

  function painter(town, scale) {
    const parcels = sewermap.columns.shapes(town.parcels), buildings = sewermap.columns.shapes(town.buildings);
    const streets = sewermap.columns.shapes(town.streets), mains = sewermap.columns.shapes(town.mains);
    return (context, frame) => {
      context.fillStyle = PAPER;
      context.fillRect(0, 0, frame.edge, frame.edge);
      if (frame.zoom >= 15) {
        context.beginPath();
        trace(context, parcels, frame, 2, true);
        stroke(context, PARCEL, 0.8);
        context.beginPath();
        trace(context, buildings, frame, 2, true);
        context.fillStyle = BUILDING;
        context.fill();
        stroke(context, BUILDING_EDGE, 0.7);
      }
      const width = streetWidth(frame, scale);
      context.beginPath();
      trace(context, streets, frame, 40, false);
      stroke(context, CASING, width + 2);
      stroke(context, STREET, width);
      if (frame.zoom >= 15) {
        context.beginPath();
        trace(context, mains, frame, 4, false);
        context.setLineDash([10, 6]);
        context.lineCap = "butt";
        context.strokeStyle = MAIN;
        context.lineWidth = 1.6;
        context.stroke();
        context.setLineDash([]);
      }
    };
  }

  /** The ground's layer for a map; scale is world units per metre in the middle of the town. */
  function layer(town, scale) {
    return new CanvasTiles(painter(town, scale), { pane: "tilePane" });
  }

  sewermap.ground = { CanvasTiles, layer, trace, stroke, touches, MAIN, PARCEL, BUILDING, BUILDING_EDGE };
})();
