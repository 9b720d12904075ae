// The way to the dialogs: fetched when the first one is asked for, so that the display itself loads sooner.
//
// In: what is asked about. Out: what the dialog gives, or null where it could not be fetched, which is said.

import { own, t } from "./language.js";
import { notice } from "./notices.js";

const lazily =
  (name) =>
  async (...rest) => {
    let dialogs;
    try {
      dialogs = await import("./dialogs.js");
    } catch {
      notice(own(t("not_done")), own(t("no_answer")));
      return null;
    }
    return dialogs[name](...rest);
  };

export const askVoid = lazily("askVoid");
export const askValue = lazily("askValue");
export const askMark = lazily("askMark");
export const askOverride = lazily("askOverride");
export const askHandOver = lazily("askHandOver");
export const askChoice = lazily("askChoice");
export const askOrder = lazily("askOrder");
export const askWho = lazily("askWho");
export const askToken = lazily("askToken");
