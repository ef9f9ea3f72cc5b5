// What every page of somebody who has joined does: follow the meet, count down, send its forms.

import { countDown } from "./times.js";
import { listen } from "./forms.js";
import { live } from "./live.js";

countDown();
listen();
live();
