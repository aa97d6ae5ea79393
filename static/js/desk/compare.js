// The curves of a comparison.
import { drawn } from "./figure-loader.js";
import { t } from "../core/words.js";

await drawn(
  document.getElementById("overlay"),
  t("The curves could not be loaded. What stands out and the tables are below all the same; load the page again for the curves."),
);
