// Before anything is painted: the light and the size of controls chosen on this device.
// The only script that is not a module, because a module would run after the first paint.
(function () {
  var root = document.documentElement;
  try {
    var light = localStorage.getItem("stillroom.light");
    if (light === "paper" || light === "lamp") root.dataset.light = light;
    else if (light === "") delete root.dataset.light;
    var large = localStorage.getItem("stillroom.large");
    if (large !== null) root.toggleAttribute("data-large", large === "1");
  } catch (refused) {
    // Storage switched off: the page stays as the server made it.
  }
})();
