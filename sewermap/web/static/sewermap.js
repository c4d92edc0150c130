// The one name that our scripts share, and the door through which data.js hands over the town.
"use strict";
window.sewermap = {
  town: null,
  take(town) {
    window.sewermap.town = town;
  },
};
