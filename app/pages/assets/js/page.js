// What every page of somebody who has joined does: follow the meet, count down, send its forms.

import { listen } from "./forms.js";
import { live } from "./live.js";
import { countDown } from "./times.js";
import { followTyping } from "./typing.js";
import { keepWriting } from "./writing.js";

countDown();
listen();
followTyping();
keepWriting();
live();
