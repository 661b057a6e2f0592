"use strict";
(function () {
  var data = JSON.parse(document.getElementById("data").textContent);
  var map = window.map_block;
  var zoneFill = ["#e9d8a6", "#94b0a0", "#3d6b73", "#1d3540"];
  var ramp = ["#f3ead3", "#d9c79a", "#a9a06c", "#5f7f73", "#1f4e5f"];
  var ink = "#2b2118";
  function weight(kg) {
    if (kg === null) { return "-"; }
    return data.units === "us" ? (kg / data.lb).toFixed(2) + " lb" : kg.toFixed(2) + " kg";
  }
  function card(lines) {
    var box = document.createElement("div");
    lines.forEach(function (line) {
      var row = document.createElement("div");
      row.textContent = line;
      box.appendChild(row);
    });
    return box;
  }
  function shade(values) {
    var known = values.filter(function (v) { return v !== null; });
    var low = Math.min.apply(null, known), high = Math.max.apply(null, known);
    return function (v) {
      if (v === null) { return "#999"; }
      return ramp[Math.min(4, Math.floor(5 * (v - low) / (high - low || 1)))];
    };
  }
  function panelCard(p) {
    var half = p.se === null ? 0 : 1.645 * p.se;
    return card(["Row " + p.row + ", panel " + p.panel, "vines " + p.first + "-" + p.last,
      p.buds + " buds per vine, zone " + p.zone + " (" + p.zone + (p.zone === 1 ? " band)" : " bands)"),
      "vine size " + weight(p.kg) + " (90 %: " + weight(Math.max(0, p.kg - half)) + " to " + weight(p.kg + half) + ")"]);
  }
  function panelLayer(key) {
    var color = key === "zone" ? function (v) { return zoneFill[v - 1]; } : shade(data.panels.map(function (p) { return p[key]; }));
    return L.layerGroup(data.panels.map(function (p) {
      return L.polyline(p.line, { color: color(p[key]), weight: 5, lineCap: "butt" }).bindPopup(function () { return panelCard(p); });
    }));
  }
  var labels = L.layerGroup();
  var zones = L.featureGroup(data.zones.map(function (parts, i) {
    var shape = L.polygon(parts.map(function (ring) { return [ring]; }),
      { color: ink, weight: 2, fillColor: zoneFill[i], fillOpacity: 0.75, dashArray: [null, "8 4", "2 4", "12 3 2 3"][i] });
    var label = document.createElement("span");
    label.textContent = data.buds[i];
    L.circleMarker(data.labels[i], { radius: 0, opacity: 0 }).addTo(labels)
      .bindTooltip(label, { permanent: true, direction: "center", className: "buds-label" });
    return shape;
  }));
  var samples = L.layerGroup(data.samples.map(function (s) {
    return L.circleMarker(s.at, { radius: s.outlier ? 8 : 5, color: ink, weight: s.outlier ? 3 : 1,
      fillColor: s.used ? "#fff" : "#999", fillOpacity: 1 }).bindPopup(function () {
      return card(["Row " + s.row + ", vine " + s.vine, weight(s.kg) + " per vine", s.used ? "" : "left out",
        s.outlier ? "far from its neighbours: weigh again" : "", s.note].filter(Boolean));
    });
  }));
  var replant = L.layerGroup(data.replant.map(function (ring) {
    return L.polygon(ring, { color: "#7a1f1f", weight: 3, fill: false, dashArray: "3 5" }).bindPopup(function () { return card(["Area to replant"]); });
  }));
  var layers = { "Zones and buds": zones, "Panels by zone": panelLayer("zone"), "Vine size": panelLayer("kg"),
    "How unsure (standard error)": panelLayer("se"), "Bud numbers": labels, "Samples": samples, "Areas to replant": replant };
  zones.addTo(map); labels.addTo(map); samples.addTo(map); replant.addTo(map);
  L.control.layers(null, layers, { collapsed: window.innerWidth < 700 }).addTo(map);
  var north = document.createElement("div");
  north.className = "north";
  north.textContent = "\u2191 N";
  map.getContainer().appendChild(north);
  map.fitBounds(zones.getBounds(), { animate: false });
  window.READY = true;
})();
