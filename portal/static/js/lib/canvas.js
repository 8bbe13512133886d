// A canvas as sharp as the screen.

/** The context of `canvas`, empty and in CSS pixels. Its size is set only when it changes: a canvas that gets a size
 *  loses its font and its memory, and the page is laid out anew. */
export function clearedContext(canvas, width, height, ratio = window.devicePixelRatio || 1) {
  const size = { width: Math.round(width * ratio), height: Math.round(height * ratio) };
  if (canvas.width !== size.width || canvas.height !== size.height) Object.assign(canvas, size);
  const context = canvas.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.clearRect(0, 0, width, height);
  return context;
}
