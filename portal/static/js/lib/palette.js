// The page's colours and figures, for what is drawn on a canvas.
export function paletteOf(element) {
  const style = getComputedStyle(element);
  const token = (name) => style.getPropertyValue(`--${name}`).trim();
  const names = ["ink", "soft", "rule", "edge", "accent", "on-accent", "wash", "wave", "inset", "sheet"];
  return {
    ...Object.fromEntries(names.map((name) => [name, token(name)])),
    face: style.fontFamily,
    figurePx: Number(token("ruler-px")),
  };
}
