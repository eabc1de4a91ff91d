/* The guided tour: short demonstrations for a class, one key a step. */
"use strict";

let stopAt = -1, before = null;
function tour(to) {
  if (stopAt < 0) before = { scenarios: bench.scenarios.map((one) => ({ ...one })), comparing: bench.comparing, way: bench.way, cut: bench.cut };
  stop();
  const { screen } = bench;
  if (!$("handling").hidden) handling(false);
  stopAt = Math.min(Math.max(to, 0), screen.tour.length - 1);
  const now = screen.tour[stopAt], box = $("tour");
  bench.scenarios = [{ ...screen.usual, ...now.scenario }, { ...screen.usual, ...(now.beside || {}) }];
  Object.assign(bench, { comparing: now.beside !== null, facing: 0, way: "side", cut: null });
  document.body.classList.add("touring");
  arrangeCut();
  arrange();
  box.hidden = false;
  box.querySelector(".count").textContent = `${stopAt + 1} of ${screen.tour.length}. An estimate from a model, not a measurement.`;
  box.querySelector("h2").textContent = now.title;
  box.querySelector(".look").textContent = now.look;
  box.querySelector(".why").textContent = now.why;
  reflect();
  if (now.play) play(now.play); else ask();
  $("tour-on").focus();
}
function endTour() {
  stop();
  stopAt = -1;
  document.body.classList.remove("touring");
  $("tour").hidden = true;
  if (document.fullscreenElement) document.exitFullscreen();
  Object.assign(bench, before, { facing: 0 });
  arrangeCut();
  arrange();
  reflect();
  ask();
  $("tour-button").focus();
}
$("tour-button").addEventListener("click", () => tour(0));
$("tour-on").addEventListener("click", () => stopAt === bench.screen.tour.length - 1 ? endTour() : tour(stopAt + 1));
$("tour-back").addEventListener("click", () => tour(stopAt - 1));
$("tour-end").addEventListener("click", endTour);
$("tour-full").addEventListener("click", () =>
  document.fullscreenElement ? document.exitFullscreen() : document.documentElement.requestFullscreen());
addEventListener("keydown", (event) => {
  if (stopAt < 0) return;
  if (event.key === "Escape") endTour();
  else if (event.key === "PageDown" || (event.key === "ArrowRight" && !event.target.closest(".stage3d"))) tour(stopAt + 1);
  else if (event.key === "PageUp" || (event.key === "ArrowLeft" && !event.target.closest(".stage3d"))) tour(stopAt - 1);
  else return;
  event.preventDefault();
});
