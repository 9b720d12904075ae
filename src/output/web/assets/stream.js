// The daemon's live stream, kept open for ever.
//
// In: `GET api/v1/live` (server-sent events `state` and `live`). Out: the two messages, and whether the link stands.
// The daemon sends the whole state at each connect, so a reconnect is a full resync. A connection that is open
// but silent (a sleeping router, a hung daemon) is closed and opened anew. No state is kept here.

const SILENT_AFTER_MS = 6000;
const RETRY_MS = 1000;
// Seen from this file, so that pages at any depth reach it.
const STREAM = new URL("../api/v1/live", import.meta.url);

/** Opens the stream and never gives up; `onLink` is told `true` at the first message, `false` at a loss; `onState` also whether the page just joined. */
export function openStream({ onState, onLive, onLink }) {
  let source = null;
  let silence = 0;
  let retry = 0;
  // Whether the next state is the first of its connection: a resync, no news.
  let joining = true;

  const heard = () => {
    clearTimeout(silence);
    silence = setTimeout(restart, SILENT_AFTER_MS);
    onLink(true);
  };
  const take = (deliver) => (event) => {
    let message;
    try {
      message = JSON.parse(event.data);
    } catch {
      return; // half a message from a dying connection; the next connect sends everything again
    }
    heard();
    deliver(message, joining);
    joining = false;
  };
  const restart = () => {
    onLink(false);
    source?.close();
    clearTimeout(retry);
    retry = setTimeout(open, RETRY_MS);
  };
  function open() {
    clearTimeout(silence);
    silence = setTimeout(restart, SILENT_AFTER_MS);
    joining = true;
    source = new EventSource(STREAM);
    source.addEventListener("state", take(onState));
    source.addEventListener("live", take(onLive));
    // The browser retries by itself after some errors and gives up after others (a 503 at start-up): always restart.
    source.addEventListener("error", restart);
  }
  open();
}
