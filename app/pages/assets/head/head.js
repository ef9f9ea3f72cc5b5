// The head official's page.

import { keepPlace } from "./focus.js";
import { countUp } from "./since.js";

countUp();
keepPlace();
