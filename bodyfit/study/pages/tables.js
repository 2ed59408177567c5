// Tables that are wider than their place say so.
(() => {
  "use strict";
  const wide = [...document.querySelectorAll(".wide")];
  const look = () => {
    for (const one of wide) {
      one.classList.toggle("more", one.scrollWidth > one.clientWidth + 1);
      one.classList.toggle("fits", one.scrollWidth <= one.clientWidth + 1);
    }
  };
  addEventListener("resize", look);
  for (const one of document.querySelectorAll("details")) one.addEventListener("toggle", look);
  new ResizeObserver(look).observe(document.body);
  let opened = [];
  addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll("details:not([open])")];
    for (const one of opened) one.open = true;
  });
  addEventListener("afterprint", () => { for (const one of opened) one.open = false; });
  look();
})();
