// Pages that show single tags: every player on the page plays the tag it names.
import { Player } from "./player.js";

for (const root of document.querySelectorAll(".player[data-tag]")) {
  if (root.dataset.tag) new Player(root).show(Number(root.dataset.tag));
}
