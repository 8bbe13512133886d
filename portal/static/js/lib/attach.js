// Ties a behaviour to every element that asks for it, now and later, and unties it when the element leaves the page.

/** Call `mount(element)` for each match of `selector`; what it returns is called when the element is removed. */
export function attach(selector, mount) {
  const undoes = new Map();

  const arrive = (root) => {
    const found = root.matches?.(selector) ? [root] : [];
    for (const element of [...found, ...root.querySelectorAll(selector)]) {
      if (!undoes.has(element)) undoes.set(element, mount(element));
    }
  };
  const leave = () => {
    for (const [element, undo] of undoes) {
      if (element.isConnected) continue;
      undoes.delete(element);
      undo?.();
    }
  };

  new MutationObserver((changes) => {
    leave();
    for (const change of changes) {
      for (const node of change.addedNodes) if (node.nodeType === Node.ELEMENT_NODE && node.isConnected) arrive(node);
    }
  }).observe(document.documentElement, { childList: true, subtree: true });
  arrive(document.documentElement);
}
