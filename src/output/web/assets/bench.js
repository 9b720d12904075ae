// The bench display's first script. What the daemon wrote into the page is painted first, in this display's palette and sizes; all that
// makes it live comes after that, so that a slow tablet can be read before it has worked through the rest.

import { startPalette } from "./palette.js";
import { startScreen } from "./screen.js";

startPalette();
startScreen();

const live = () => import("./display.js");
// A page that nobody sees is not painted, and waits for nothing.
if (document.hidden) live();
else requestAnimationFrame(() => setTimeout(live));
