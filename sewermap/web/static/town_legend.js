// What the strokes, signs and marks of the map mean; the strokes follow the switch.
"use strict";
(() => {
  const EDGE = 30, HIGH = 24;
  const { t } = sewermap;

  /** A small picture drawn by draw(context). */
  function picture(draw) {
    const canvas = document.createElement("canvas"), scale = Math.max(1, window.devicePixelRatio || 1), context = canvas.getContext("2d", { willReadFrequently: true });
    canvas.width = EDGE * scale;
    canvas.height = HIGH * scale;
    canvas.className = "swatch";
    canvas.setAttribute("aria-hidden", "true");
    context.scale(scale, scale);
    draw(context);
    return canvas;
  }

  function line(context, colour, width, dash = [], y = HIGH / 2) {
    context.beginPath();
    context.moveTo(2, y);
    context.lineTo(EDGE - 2, y);
    context.setLineDash(dash);
    context.lineWidth = width;
    context.strokeStyle = colour;
    context.stroke();
    context.setLineDash([]);
  }

  const stroke = (kind) => picture((context) => line(context, kind.colour, kind.width * 1.3, kind.dash));
  const sign = (index, bore) => picture((context) => sewermap.symbols.draw(context, index, EDGE / 2, HIGH / 2, bore ? 4.6 : 7, bore));

  function stretch(context) {
    line(context, "#5b3192", 3);
    context.lineWidth = 10;
    context.strokeStyle = "rgba(53, 16, 94, 0.3)";
    context.beginPath();
    context.moveTo(8, HIGH / 2);
    context.lineTo(EDGE - 8, HIGH / 2);
    context.stroke();
    sewermap.symbols.draw(context, 5, EDGE / 2, HIGH / 2, 4, false);
  }

  function propertyLine(context) {
    line(context, "#5b3192", 3);
    context.beginPath();
    context.moveTo(EDGE / 2, 5);
    context.lineTo(EDGE / 2, HIGH - 5);
    context.lineWidth = 2;
    context.strokeStyle = "#1d2227";
    context.stroke();
  }

  function entry(image, text) {
    const item = document.createElement("li"), words = document.createElement("span");
    words.textContent = text;
    item.append(image, words);
    return item;
  }

  /** What the strokes of laterals mean now. */
  function follow(colour) {
    const list = document.getElementById("legend-laterals"), kinds = sewermap.colours.MODES[colour];
    document.getElementById("legend-title").textContent = t(`town.legend.${colour}`);
    // The gravest first, what is unknown last.
    const order = kinds.map((kind, i) => i).sort((a, b) => (kinds[a].name === "none") - (kinds[b].name === "none") || b - a);
    list.replaceChildren(...order.map((i) => entry(stroke(kinds[i]), t(`town.class.${colour}.${kinds[i].name.replace(" ", "_")}`))));
  }

  /** What never changes: signs of issues, marks and ground. */
  function fill() {
    const signs = [7, 6, 5, 4, 3].map((index) => entry(sign(index, false), t("town.grade", { grade: index - 2 })));
    signs[0].lastChild.textContent = t("town.legend.worst");
    signs[4].lastChild.textContent = t("town.legend.least");
    document.getElementById("legend-signs").append(...signs, entry(sign(2, false), t("town.ungraded")), entry(sign(7, true), t("town.legend.bore")));
    const { MAIN, PARCEL } = sewermap.city.GROUND;
    document.getElementById("legend-marks").append(
      entry(picture(stretch), t("town.legend.stretch")),
      entry(picture(propertyLine), t("town.legend.property_line")),
      entry(picture((context) => line(context, MAIN, 1.8, [7, 4])), t("town.legend.main")),
      entry(picture((context) => line(context, PARCEL, 1.2)), t("town.legend.parcel")),
    );
  }

  sewermap.townLegend = { fill, follow };
})();
