// The bench display's first script. What the daemon wrote into the page is painted first, in this display's palette and sizes; all that
// makes it live comes after that, so that a slow tablet can be read before it has worked through the rest.

import { startPalette } from "./palette.js";
import { startScreen } from "./screen.js";

startPalette();
startScreen();

// Both files are fetched from the beginning, as the page's head says, and are not worked through before the first picture stands.
const fetched = (name) => document.querySelector(`link[data-later="${name}"]`).href;
const live = async () => {
  await import(fetched("messages"));
  await import(fetched("display"));
};
// A page that nobody sees is not painted, and waits for nothing.
if (document.hidden) live();
else requestAnimationFrame(() => setTimeout(live));
