// Times in the time zone of this screen, to the minute; the daemon writes them in UTC for pages without a script.

const SHOWN = { year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", hour12: false };

/** Shows every `<time>` below `root` in local time; the full time stays in its attribute. */
export function showTimes(root) {
  for (const node of root.querySelectorAll("time[datetime]")) {
    const time = new Date(node.dateTime);
    // Swedish is written year, month, day with dashes, as ISO 8601 has it.
    if (!Number.isNaN(time.getTime())) node.textContent = time.toLocaleString("sv-SE", SHOWN);
  }
}
