// The script that renders the daemon's sentences, held to the same cases as the daemon's own (`output::language`).

import { test } from "node:test";
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { translator } from "../../src/output/web/assets/sentences.js";

const json = async (path) => JSON.parse(await readFile(new URL(path, import.meta.url), "utf8"));

test("sentences_are_rendered_as_by_the_daemon", async () => {
  const { words, sentences } = await json("../../src/output/web/messages/de.json");
  const codes = new Map(Object.keys(words).filter((key) => key.startsWith("code.")).map((key) => [key.slice(5).replaceAll("_", " "), words[key]]));
  const translate = translator(sentences, (english) => codes.get(english.replaceAll("_", " ")) ?? sentences[english] ?? null);
  for (const [english, german] of Object.entries(await json("../sentences.json"))) assert.equal(translate(english), german, english);
});
