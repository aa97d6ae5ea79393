// Modules that a page needs only after it is of use itself: those named by `data-modules` of this script's element.
import { byId } from "../core/dom.js";
import { whenSettled } from "../core/idle.js";

const paths = (byId("after-load").dataset.modules ?? "").split(" ");

whenSettled(() => paths.forEach((path) => import(path)));
