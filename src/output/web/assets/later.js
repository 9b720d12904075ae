// The only script of the bench display that runs before its first picture, written into the page: what makes the display live is fetched
// and worked through after that, so that a slow tablet can be read first.
{
  const files = document.currentScript.dataset.files.split(" ");
  const live = () => {
    for (const file of files) {
      // Fetched side by side, run one after the other.
      const script = Object.assign(document.createElement("script"), { type: "module", async: false, src: file });
      document.head.append(script);
    }
  };
  // A page that nobody sees is not painted, and waits for nothing.
  if (document.hidden) live();
  else requestAnimationFrame(() => setTimeout(live));
}
