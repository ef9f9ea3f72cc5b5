// The notice board and its announcements: count down, and stay up to date.

import { poll } from "./polling.js";
import { countDown } from "./times.js";

countDown();
poll();
