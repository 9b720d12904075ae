// The only script of the bench display that runs before its first picture, written into the page: what makes the display live is fetched
// meanwhile and worked through after it, so that a slow tablet can be read first.
{
  const live = () => {
    for (const { href } of document.querySelectorAll('link[rel="preload"]')) {
      // Run one after the other.
      const script = Object.assign(document.createElement("script"), { type: "module", async: false, src: href });
      document.head.append(script);
    }
  };
  // A page that nobody sees is not painted, and waits for nothing.
  if (document.hidden) live();
  else requestAnimationFrame(() => setTimeout(live));
}
