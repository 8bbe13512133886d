// The playing against the grid, bar by bar: a picture under the lanes, and the same as a table. The server reads every
// file's attacks for it, so it is asked for after the lanes' own pictures.
import { drawResidual, fillRows, residualOf } from "kitpost/lanes/residual";

export class Playing {
  /** Without a `source` there is no grid yet. Until the answer comes its place is kept, so that nothing moves then. */
  constructor(element, source) {
    this.element = element;
    this.source = source;
    this.canvas = element.querySelector("[data-lanes-residual]");
    this.hasOtherMap = false;
    this.points = [];
    if (!source) this.show([]);
    else for (const part of this.parts) part.hidden = false;
  }

  get parts() {
    return this.element.querySelectorAll("[data-lanes-off], [data-lanes-residual]");
  }

  async load() {
    if (!this.source) return;
    const answer = await fetch(this.source).catch(() => null);
    const found = answer?.ok ? await answer.json() : null;
    if (!this.hasOtherMap) this.show(residualOf(found?.bars ?? []));
    if (!found) throw new Error("The playing against the grid could not be loaded.");
  }

  /** Another map's bars, which say how late the playing is on it. */
  takeBars(bars) {
    this.hasOtherMap = true;
    this.show(residualOf(bars));
  }

  show(points) {
    this.points = points;
    fillRows(this.element.querySelector("[data-lanes-off-rows]"), points);
    for (const part of this.parts) part.hidden = !points.length;
  }

  draw(view, width, ratio, palette) {
    if (this.points.length) drawResidual(this.canvas, { points: this.points, view, width, ratio }, palette);
  }
}
