// What the address bar says after "#": key=value pairs, so that a view can be sent as a link.
//
// sewermap.url.get(key)            the text of a key, null where it is not there
// sewermap.url.set({key: value})   change keys as a new step of the browser's history; null or "" takes a key away
// sewermap.url.replace({…})        the same without a step
// sewermap.url.listen(then)        then() whenever the keys changed, by us, by the back button or by hand
// sewermap.url.href(page, {…})     a link to a page with keys
"use strict";
(() => {
  const listeners = [];
  let text = null, values = new Map();

  function read() {
    const now = window.location.hash.slice(1);
    if (now === text) return values;
    text = now;
    values = new Map();
    for (const pair of now.split("&")) {
      const at = pair.indexOf("=");
      if (at > 0) values.set(decoded(pair.slice(0, at)), decoded(pair.slice(at + 1)));
    }
    return values;
  }

  function decoded(part) {
    try {
      return decodeURIComponent(part.replaceAll("+", " "));
    } catch {
      return part; // a half-typed link is taken as it stands
    }
  }

  // Commas stay readable; all else that means something in an address is written as %XX.
  const encoded = (part) => encodeURIComponent(part).replaceAll("%2C", ",");

  function hash(changes, before) {
    const all = new Map(before);
    for (const [key, value] of Object.entries(changes)) {
      if (value === null || value === undefined || value === "" || value === false) all.delete(key);
      else all.set(key, String(value === true ? 1 : value));
    }
    const pairs = [...all].map(([key, value]) => `${encoded(key)}=${encoded(value)}`);
    return pairs.length ? `#${pairs.join("&")}` : "";
  }

  function changed(method, changes) {
    const next = hash(changes, read());
    if (next.slice(1) === text) return;
    // Without any key the bare address stays: a lone "#" would jump to the top.
    window.history[method](null, "", next || window.location.href.split("#")[0]);
    tell();
  }

  function tell() {
    read();
    for (const then of listeners) then();
  }

  window.addEventListener("hashchange", () => {
    if (window.location.hash.slice(1) !== text) tell();
  });

  sewermap.url = {
    get: (key) => read().get(key) ?? null,
    set: (changes) => changed("pushState", changes),
    replace: (changes) => changed("replaceState", changes),
    listen: (then) => listeners.push(then),
    href: (page, keys) => `${page}.html${hash(keys, new Map())}`,
  };
})();
