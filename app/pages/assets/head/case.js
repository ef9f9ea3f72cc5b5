// A case's page.

import { keepPlace } from "./focus.js";
import { rule } from "./ruling.js";
import { countUp } from "./since.js";
import { keepWriting } from "./writing.js";

countUp();
keepPlace();
keepWriting();
rule();
