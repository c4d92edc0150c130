// The ground: streets from city.js at every zoom; parcels, buildings and mains from cells when one is near enough to see them.
"use strict";
(() => {
  const PAPER = "#f4f2ec", PARCEL = "#c3bfb3", BUILDING = "#dcdad5", BUILDING_EDGE = "#bdbab2";
  const CASING = "#cbc7bc", STREET = "#ffffff", MAIN = "#6d7f8c";
  const STREET_WIDTH_M = 7; // drawn width only; a street's real width is not known
  const CELLS_FROM = 16, MARGIN = 8;

  function stroke(context, colour, width) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.lineCap = context.lineJoin = "round";
    context.stroke();
  }

  function plots(context, frame, cells) {
    context.beginPath();
    for (const cell of cells) sewermap.shapes.trace(context, cell.parcels, frame, 2, true);
    stroke(context, PARCEL, 0.8);
    context.beginPath();
    for (const cell of cells) sewermap.shapes.trace(context, cell.buildings, frame, 2, true);
    context.fillStyle = BUILDING;
    context.fill();
    stroke(context, BUILDING_EDGE, 0.7);
  }

  function streets(context, frame) {
    const perMetre = sewermap.projection.perMetre(sewermap.projection.latLng(frame.box[0], frame.box[1]).lat).east;
    const width = Math.min(60, Math.max(frame.zoom >= 15 ? 2 : 1, STREET_WIDTH_M * perMetre * frame.world));
    context.beginPath();
    sewermap.shapes.trace(context, sewermap.city.streets, frame, 40, false);
    stroke(context, CASING, width + (frame.zoom >= 15 ? 2 : 1));
    stroke(context, STREET, width);
  }

  function mains(context, frame, cells) {
    context.beginPath();
    for (const cell of cells) sewermap.shapes.trace(context, cell.mains, frame, 4, false);
    context.setLineDash([10, 6]);
    context.lineCap = "butt";
    context.strokeStyle = MAIN;
    context.lineWidth = 1.6;
    context.stroke();
    context.setLineDash([]);
  }

  function paint(context, frame) {
    const margin = MARGIN / frame.world, box = frame.box;
    context.fillStyle = PAPER;
    context.fillRect(0, 0, frame.edge, frame.edge);
    const wide = [box[0] - margin, box[1] - margin, box[2] + margin, box[3] + margin];
    const cells = frame.zoom >= CELLS_FROM ? sewermap.cityCells.wanted(sewermap.cityCells.KINDS.ground, wide) : [];
    plots(context, frame, cells);
    streets(context, frame);
    mains(context, frame, cells);
  }

  /** The ground's layer. */
  sewermap.city.ground = (options) => {
    const layer = new sewermap.tiles.Tiles(paint, { pane: "tilePane", margin: MARGIN, ...options });
    sewermap.cityCells.onArrival((kind, box) => {
      if (kind === sewermap.cityCells.KINDS.ground) layer.repaint(box);
    });
    return layer;
  };
  sewermap.city.GROUND = { MAIN, PARCEL, BUILDING, BUILDING_EDGE, CASING, STREET };
})();
