// The layers of a block's map, one object each, in the order of the list beside it.
//   name     its words are layer_<name> in the word lists
//   on       shown when the page opens
//   present  whether there is something to show; always where left out
//   rare     left out of the list, not greyed, where there is nothing to show
//   paint    draws it; over: drawn on top of all others
//   sign     a small drawing of how it looks
//   ground   it colours the whole ground, in this ramp of `look`; of these only one is on at a time. Its legend: least and
//            greatest value (values), as a share or in kg with so many digits
const filled = (column) => data.columns[column].some((value) => value > 0);
const grams = (values) => reach(values).map((value) => value * 1e-5);
const thousandths = (values) => reach(values).map((value) => (value - 1) / 1000);
const pathOf = (text) => new Path2D(text);

const LAYERS = [
  {
    name: "zones",
    on: true,
    paint: paintZones,
    over: paintNumbers,
    sign: (view, look, width, height) => {
      [0, 1].forEach((half) => {
        view.context.fillStyle = view.context.createPattern(patternTile(look, data.zones.length === 1 ? 0 : half + 1, 1), "repeat");
        view.context.fillRect(1 + half * 16, 3, 16, height - 6);
      });
      view.stroke(pathOf("M1 3H33V19H1Z M17 3V19"), look.ink, 1.2);
    },
  },
  {
    name: "anyway",
    rare: true,
    present: () => data.anyway.length > 0,
    paint: paintAnyway,
    sign: (view, look) => view.stroke(pathOf("M3 4H31V18H3Z M17 4V18"), look.ink, 1.6, [5, 3]),
  },
  {
    name: "replant",
    on: true,
    present: () => shape.replant.length > 0,
    paint: paintReplant,
    sign: (view, look) => view.stroke(pathOf("M3 4H31V18H3Z"), look.alarm, 2.2, [6, 3]),
  },
  {
    name: "rows",
    on: true,
    paint: paintRows,
    sign: (view, look) => view.stroke(pathOf("M2 5H32M2 11H32M2 17H32"), look.ink, 0.9),
  },
  {
    name: "panels",
    on: true,
    paint: paintPanels,
    sign: (view, look) => {
      view.stroke(pathOf("M2 17H32M2 14V20M17 14V20M32 14V20"), look.ink, 1.4);
      view.text("40", 10, 7, { font: `600 10px ${look.sans}`, color: look.ink });
      view.text("45", 25, 7, { font: `600 10px ${look.sans}`, color: look.ink });
    },
  },
  {
    name: "vines",
    on: true,
    paint: paintVines,
    sign: (view, look) => {
      view.stroke(pathOf("M3 7L11 15M3 15L11 7"), look.alarm, 1.7);
      view.stroke(pathOf("M21 11a4 4 0 1 1-8 0a4 4 0 1 1 8 0"), look.ink, 1.5);
      view.context.fillStyle = look.ink;
      view.context.fill(pathOf("M32 11a4 4 0 1 1-8 0a4 4 0 1 1 8 0"));
    },
  },
  {
    name: "block",
    on: true,
    paint: (view, look) => view.stroke(view.outline(shape.block), look.ink, 2.2),
    sign: (view, look) => view.stroke(pathOf("M4 16L8 4L30 6L27 18Z"), look.ink, 2.2),
  },
  {
    name: "size",
    present: () => Boolean(data.grid),
    ground: "size_ramp",
    values: () => data.grid.size,
    paint: (view) => paintSurface(view, "size"),
  },
  {
    name: "size_panels",
    present: () => filled("panel_size"),
    ground: "size_ramp",
    values: () => grams(data.columns.panel_size),
    paint: (view, look) => strips(view, data.columns.panel_size, look.size_ramp),
  },
  {
    name: "sure",
    present: () => Boolean(data.grid) || filled("panel_error"),
    ground: "error_ramp",
    digits: 2,
    values: () => (data.grid ? data.grid.error : grams(data.columns.panel_error)),
    paint: (view, look) => (shape.grid ? paintSurface(view, "sure") : strips(view, data.columns.panel_error, look.error_ramp)),
  },
  {
    name: "bull",
    present: () => filled("panel_bull"),
    ground: "bull_ramp",
    share: true,
    values: () => thousandths(data.columns.panel_bull),
    paint: (view, look) => strips(view, data.columns.panel_bull, look.bull_ramp),
  },
  {
    name: "injury",
    present: () => filled("panel_injury"),
    ground: "injury_ramp",
    share: true,
    values: () => thousandths(data.columns.panel_injury),
    paint: (view, look) => strips(view, data.columns.panel_injury, look.injury_ramp),
  },
  {
    name: "samples",
    present: () => data.samples.row.length > 0,
    paint: paintSamples,
    sign: (view, look) => view.stroke(pathOf("M13 11a4 4 0 1 1-8 0a4 4 0 1 1 8 0M31 11a7 7 0 1 1-14 0a7 7 0 1 1 14 0"), look.ink, 1.8),
  },
  {
    name: "outliers",
    present: () => data.samples.outlier.some(Boolean),
    paint: paintOutliers,
    sign: (view, look) => {
      view.stroke(pathOf("M5 4H19V18H5Z"), look.alarm, 2.2);
      view.text("▲", 27, 11, { font: `700 12px ${look.sans}`, color: look.alarm });
    },
  },
  {
    name: "flags",
    present: () => data.flags.row.length > 0,
    paint: paintFlags,
    sign: (view, look) => {
      view.stroke(pathOf("M10 3V20M24 3V20"), look.ink, 2);
      view.stroke(pathOf("M5 6H15M19 6H29M19 11H29"), look.ink, 3);
    },
  },
  {
    name: "next",
    present: () => data.next.row.length > 0,
    paint: paintNext,
    sign: (view, look) => {
      view.stroke(pathOf("M17 1L27 11L17 21L7 11Z"), look.ink, 1.6);
      view.text("1", 17, 11.5, { font: `700 11px ${look.sans}`, color: look.ink });
    },
  },
];
const layerNamed = (name) => LAYERS.find((layer) => layer.name === name);
const groundLayers = LAYERS.filter((layer) => layer.ground);
const on = new Set(LAYERS.filter((layer) => layer.on).map(({ name }) => name));
const present = (layer) => !layer.present || layer.present();
const shown = (name) => on.has(name) && present(layerNamed(name));
