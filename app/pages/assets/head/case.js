// A case's page.

import { keepPlace } from "./focus.js";
import { rule } from "./ruling.js";
import { countUp } from "./since.js";

countUp();
keepPlace();
rule();
