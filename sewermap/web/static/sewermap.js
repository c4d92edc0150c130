// The one name that our scripts share, and the door through which data.js hands over the town.
"use strict";
window.sewermap = {
  town: null,
  take(town) {
    window.sewermap.town = town;
  },
  /** Give an object properties that are made when they are first read: {name: () => value}. */
  lazily(object, makers) {
    for (const [name, make] of Object.entries(makers)) {
      const get = () => {
        const value = make();
        Object.defineProperty(object, name, { value, enumerable: true });
        return value;
      };
      Object.defineProperty(object, name, { get, enumerable: true, configurable: true });
    }
    return object;
  },
};
