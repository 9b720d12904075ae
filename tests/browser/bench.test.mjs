// Browser test of the bench display: (a) against the mock bench, (b) against the daemon where BENCHSCRIBE_URL is set.
//
// `node --test bench.test.mjs` runs all of it. No test sleeps: each waits for what it wants to see.

import "./parts/reading.mjs";
import "./parts/operating.mjs";
import "./parts/looks.mjs";
import "./parts/afar.mjs";
import "./parts/colours.mjs";
import "./parts/languages.mjs";
import "./parts/sounds.mjs";
import "./parts/pictures.mjs";
import "./parts/daemon.mjs";
