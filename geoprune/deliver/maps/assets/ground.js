// The map's canvas inside Leaflet, its buttons, and the same drawing on paper.
const GroundLayer = L.Renderer.extend({
  initialize(paint) {
    this._paint = paint;
    L.Renderer.prototype.initialize.call(this, { padding: 0.25 });
  },
  _initContainer() {
    this._container = document.createElement("canvas");
    this._container.id = "canvas";
    this._context = this._container.getContext("2d");
  },
  _destroyContainer() {
    this._container.remove();
  },
  _update() {
    if (this._map._animatingZoom && this._bounds) return;
    L.Renderer.prototype._update.call(this);
    this.redraw();
  },
  _updatePaths() {},
  redraw() {
    if (this.held) return;
    const { min, max } = this._bounds;
    const size = this._bounds.getSize();
    const density = Math.min(window.devicePixelRatio || 1, 2);
    const canvas = this._container;
    L.DomUtil.setPosition(canvas, min);
    canvas.width = Math.round(size.x * density);
    canvas.height = Math.round(size.y * density);
    canvas.style.width = `${size.x}px`;
    canvas.style.height = `${size.y}px`;
    this._context.setTransform(density, 0, 0, density, -min.x * density, -min.y * density);
    const corner = this._map.containerPointToLayerPoint([0, 0]);
    const shown = this._map.getSize();
    const frame = [corner.x, corner.y, corner.x + shown.x, corner.y + shown.y];
    this._paint(this.view(this._context, [min.x, min.y, max.x, max.y], density, frame));
  },
  view(context, box, density, frame) {
    const scale = 256 * 2 ** this._map.getZoom();
    const corner = this._map.getPixelOrigin();
    const { home } = this.data;
    const left = home[0] * scale - corner.x;
    return new View(context, scale, left, home[1] * scale - corner.y, box, density, this.data.latitude, frame);
  },
});

// Puts a ground on the page; `paint(view)` draws it. Returns what the page needs to steer it.
function openGround(data, box, paint) {
  const holder = document.querySelector(".folium-map");
  const map = window[holder.id];
  Object.assign(map.options, { zoomSnap: 0.25, zoomDelta: 0.75, maxZoom: 23, minZoom: 8, wheelPxPerZoomLevel: 90 });
  const layer = new GroundLayer(paint);
  layer.data = data;
  layer.held = true; // nothing is drawn before the page around the map stands: `begun` draws it once
  const toLatLng = (across, down) => {
    const lat = Math.atan(Math.sinh(Math.PI * (1 - 2 * (down + data.home[1])))) * (180 / Math.PI);
    return [lat, (across + data.home[0] - 0.5) * 360];
  };
  const show = ([west, north, east, south], options = {}) => {
    const beside = map.getSize().x < 620 ? 34 : 96; // the buttons stand below on a phone, else at the right
    const key = document.querySelector("#key:not(:empty)");
    const above = key && key.offsetHeight ? 24 + key.offsetHeight : 24;
    const margins = { paddingTopLeft: [34, above], paddingBottomRight: [beside, 72] };
    map.fitBounds([toLatLng(west, south), toLatLng(east, north)], { ...margins, animate: false, ...options });
  };
  map.invalidateSize(false);
  show(box);
  layer.addTo(map);
  if (data.background) L.tileLayer(data.background, { maxZoom: 23, maxNativeZoom: 18 }).addTo(map);
  const begun = () => {
    show(box);
    layer.held = false;
    layer.redraw();
  };
  const ground = { map, layer, show, begun, box, toLatLng, redraw: () => layer.redraw(), pick: null };
  map.on("click", (event) => ground.pick && ground.pick(placeOf(data, event.latlng.lng, event.latlng.lat)));
  holder.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target !== holder || !ground.pick) return;
    const center = map.getCenter();
    ground.pick(placeOf(data, center.lng, center.lat));
  });
  map.on("moveend zoomend resize", () => showScale(ground));
  return ground;
}

function showScale(ground) {
  const { map, layer } = ground;
  const view = layer.view(null, [0, 0, 0, 0], 1);
  const bar = scaleBar(view.pointsPerMetre, Math.min(140, map.getSize().x / 4));
  const line = make("span", { class: "bar" });
  line.style.width = `${bar.points}px`;
  put("scale", make("span", { text: bar.words }), line);
}

function groundTools(ground, wholeWords) {
  const { map } = ground;
  const button = (text, words, action, name) =>
    make("button", { type: "button", text, title: words, "aria-label": words, "data-tool": name, onclick: action });
  const tools = [
    button("+", say("zoom_in"), () => map.zoomIn(), "in"),
    button("−", say("zoom_out"), () => map.zoomOut(), "out"),
    button("□", wholeWords, () => ground.show(ground.box), "whole"),
  ];
  if ("geolocation" in navigator) tools.push(button("◎", say("my_place"), () => findMe(ground), "me"));
  put("tools", ...tools);
  const holder = map.getContainer();
  holder.setAttribute("role", "application");
  holder.setAttribute("aria-label", say("map_label"));
}

function findMe(ground) {
  const fail = () => announce(say("my_place_failed"));
  navigator.geolocation.getCurrentPosition((found) => {
    const { latitude, longitude, accuracy } = found.coords;
    ground.me = { place: placeOf(ground.layer.data, longitude, latitude), accuracy };
    ground.map.setView([latitude, longitude], Math.max(ground.map.getZoom(), 18), { animate: false });
    ground.redraw();
    announce(say("my_place_found", { distance: lengthOf(accuracy) }));
  }, fail, { enableHighAccuracy: true, timeout: 15000 });
}

function drawMe(view, look, me) {
  if (!me) return;
  const [x, y] = [view.across(me.place[0]), view.down(me.place[1])];
  const ring = new Path2D();
  ring.arc(x, y, Math.max(me.accuracy * view.pointsPerMetre, 10), 0, 7);
  view.stroke(ring, look.paper, 4);
  view.stroke(ring, look.ink, 1.5, [4, 3]);
  const dot = new Path2D();
  dot.arc(x, y, 5, 0, 7);
  view.context.fillStyle = look.ink;
  view.context.fill(dot);
  view.stroke(dot, look.paper, 2);
}

function announce(text) {
  document.getElementById("spoken").textContent = text;
}

// Before printing, the whole of `box` is drawn again, fine enough for paper, on a canvas of its own.
function printable(data, box, paint) {
  const draw = () => {
    const canvas = document.getElementById("paper");
    const [width, longest] = [700, 470];
    const [wide, tall] = [box[2] - box[0], box[3] - box[1]];
    const foot = 44; // the scale bar has a strip of its own below the map, and north one at the right
    const height = foot + Math.round(Math.min(longest - foot, Math.max(260, (width * tall) / wide)));
    const density = 3;
    Object.assign(canvas, { width: width * density, height: height * density });
    const context = canvas.getContext("2d");
    context.setTransform(density, 0, 0, density, 0, 0);
    const scale = Math.min((width - 40 - 2 * foot) / wide, (height - foot - 40) / tall);
    const left = (width - scale * wide) / 2 - box[0] * scale;
    const top = (height - foot - scale * tall) / 2 - box[1] * scale;
    const view = new View(context, scale, left, top, [0, 0, width, height], density, data.latitude, [0, 0, width - foot, height - foot]);
    paint(view);
    drawScaleAndNorth(view, data.look, width, height);
  };
  window.addEventListener("beforeprint", draw);
  return draw;
}

// What people see when the page cannot draw: the table and picture that also serve browsers without scripts.
function fallBack(error) {
  const plain = document.querySelector("noscript");
  const parsed = new DOMParser().parseFromString(plain.textContent, "text/html");
  document.getElementById("page").replaceChildren(...parsed.body.childNodes);
  document.documentElement.dataset.ready = "failed";
  console.error(error);
}

function begin(start) {
  unpack().then((data) => {
    for (const name of Object.keys(speech)) speech[name] = data[name];
    start(data);
    document.documentElement.dataset.ready = "yes";
    window.geopruneReady = performance.now();
  }).catch(fallBack);
}
