// Longitude and latitude to world units: the square of the web's Mercator map, 0..1 from west to east and north to south.
"use strict";
(() => {
  const RADIANS = Math.PI / 180;
  const EQUATOR_M = 6378137; // WGS 84
  const ECCENTRICITY_SQUARED = 0.0066943799901413165;
  const TILE = 256; // pixels of the whole world at zoom 0

  function x(lon) {
    return (lon + 180) / 360;
  }

  function y(lat) {
    const sine = Math.sin(lat * RADIANS);
    return 0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI);
  }

  /** The place of world units, as Leaflet's latitude and longitude. */
  function latLng(worldX, worldY) {
    const lat = 90 - (2 * Math.atan(Math.exp((worldY - 0.5) * 2 * Math.PI))) / RADIANS;
    return L.latLng(lat, worldX * 360 - 180);
  }

  /**
   * World units per true metre on the ground at a latitude, eastwards and northwards. The map is a sphere's, the ground is
   * WGS 84: radii of curvature in the prime vertical and in the meridian (any textbook of geodesy).
   */
  function perMetre(lat) {
    const sine = Math.sin(lat * RADIANS);
    const squeeze = 1 - ECCENTRICITY_SQUARED * sine * sine;
    const primeVertical = EQUATOR_M / Math.sqrt(squeeze);
    const meridian = (EQUATOR_M * (1 - ECCENTRICITY_SQUARED)) / (squeeze * Math.sqrt(squeeze));
    const around = 2 * Math.PI * Math.cos(lat * RADIANS);
    return { east: 1 / (around * primeVertical), north: 1 / (around * meridian) };
  }

  /** Pixels of the world's edge at a zoom. */
  function worldPixels(zoom) {
    return TILE * 2 ** zoom;
  }

  sewermap.projection = { x, y, latLng, perMetre, worldPixels };
})();
