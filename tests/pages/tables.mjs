// What every table of a report has to say, worked out from the lines that the program
// printed of the same run, and from nothing that made the page.

const DAY = 86_400_000;
const SPAN = 23 * 3_600_000;
const WEEKDAYS = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
const number = (value, decimals) => String(Number(value.toFixed(decimals)));
const ml = (ul) => number(ul / 1000, 3);
const or = (value, text = "-") => value ?? text;
const day = (text) => Date.parse(`${text.slice(0, 10)}T00:00:00Z`);
const date = (ms) => new Date(ms).toISOString().slice(0, 10);
const at = (dose) => dose.due ?? dose.started;
const startOf = (lines) => Date.parse(lines.find((line) => line.event === "run").start);
// the moment of a due, in ms since 1970; where the device had no local time, true time tells
const moment = (lines, dose) => (dose.due_ms === undefined ? Date.parse(at(dose)) : startOf(lines) + dose.due_ms);
// a moment as one of the cells has it, or in a way that none has
const told = (cells, ms) => cells.find((cell) => Date.parse(cell) === ms) ?? new Date(ms).toISOString();
const offset = (text) => Date.parse(`${text.slice(0, 19)}Z`) - Date.parse(`${text.slice(0, 19)}${text.slice(-6)}`);
const monday = (text) => day(text) - ((new Date(day(text)).getUTCDay() + 6) % 7) * DAY;

const doses = (lines) => lines.filter((line) => ["outcome", "open"].includes(line.event));

const UNITS = { ms: 1, s: 1000, min: 60_000, h: 3_600_000, d: DAY };
// a length such as "1 h 8 min", told to less than one of its last unit
function lasts(text, ms) {
  const parts = [...text.matchAll(/(\d+) (ms|s|min|h|d)\b/g)];
  const sum = parts.reduce((all, [, count, unit]) => all + Number(count) * UNITS[unit], 0);
  return parts.length > 0 && Math.abs(sum - ms) < UNITS[parts.at(-1)[2]];
}

// why a dose was not dosed, or not when it was due, as one of the cells has it
function why(cells, line) {
  const restarts = line.restarts ? `${line.restarts} ${line.restarts === 1 ? "restart" : "restarts"}` : undefined;
  if (line.waited_ms === undefined) return [line.cause, restarts].filter(Boolean).join(", ") || "-";
  const after = ` (${line.waited_for})${restarts ? `, ${restarts}` : ""}`;
  const before = `${line.cause ? `${line.cause}, ` : ""}waited `;
  const length = (cell) => cell.slice(before.length, cell.length - after.length);
  const said = cells.find((cell) => cell.startsWith(before) && cell.endsWith(after) && lasts(length(cell), line.waited_ms));
  return said ?? `${before}${line.waited_ms} ms${after}`;
}

// as a table has it that says what a dose is beside its outcome
const outcome = (line) => `${line.outcome}${line.asked ? ", asked for" : ""}`;

// all of a short run, of a long one those that were not dosed, in the order of their dues
function list(lines, all, rows) {
  const cells = rows.map((row) => row[0]);
  const causes = rows.map((row) => row[3]);
  const due = (line) => line.due ?? (line.due_ms === undefined ? "-" : told(cells, moment(lines, line)));
  const inOrder = doses(lines).map((line) => [moment(lines, line), line]).sort((a, b) => a[0] - b[0]).map(([, line]) => line);
  return inOrder.filter((line) => all || line.outcome !== "dosed").map((line) => [
    line.last_due ? `${line.due} to ${line.last_due}` : due(line),
    line.entry,
    line.count ? `${line.outcome} x ${line.count}` : outcome(line),
    why(causes, line),
    ml(line.volume_ul),
    ml(line.volume_most_ul),
    or(line.started),
    or(line.ended),
  ]);
}

function entries(lines) {
  const rows = new Map();
  for (const line of doses(lines)) {
    if (!rows.has(line.entry)) rows.set(line.entry, [0, 0, 0, 0, 0, 0, 0]);
    const row = rows.get(line.entry);
    const column = ["dosed", "part", "skipped", "open"].indexOf(line.outcome);
    if (line.asked) row[4] += 1;
    else row[column] += line.count ?? 1;
    row[5] += line.volume_ul;
    row[6] += line.volume_most_ul;
  }
  return [...rows].map(([name, row]) => [name, ...row.slice(0, 5).map(String), ml(row[5]), ml(row[6])]);
}

// rows of one week: a row of skipped dues is told due by due, which the lines do not
// have one by one; those rows come back by themselves
function week(lines, from, rows) {
  const cells = rows.map((row) => row[0]);
  const when = (line) => line.due ?? (line.due_ms === undefined ? line.started : told(cells, moment(lines, line)));
  const mine = doses(lines).filter((line) => when(line) && monday(when(line)) === from && !line.count);
  return mine.map((line) => [
    when(line), line.entry, outcome(line), or(line.cause), ml(line.volume_ul), or(line.started), or(line.ended),
  ]);
}

function hours(lines) {
  const counts = new Map();
  for (const line of doses(lines)) {
    if (line.count || line.asked || !at(line)) continue;
    const weekday = WEEKDAYS[(new Date(day(at(line))).getUTCDay() + 6) % 7];
    const hour = `${weekday} ${at(line).slice(11, 13)}:00`;
    if (!counts.has(hour)) counts.set(hour, [0, 0, 0, 0]);
    counts.get(hour)[["dosed", "part", "skipped", "open"].indexOf(line.outcome)] += 1;
  }
  return counts;
}

// starts and lengths of the pulses between the first and the last of a dose
function pulses(lines, dose) {
  const start = Date.parse(lines.find((line) => line.event === "run").start);
  const [from, to] = [Date.parse(dose.started) - start, Date.parse(dose.ended) - start];
  const edges = lines.filter((line) => line.event === "pump" && line.at_ms >= from && line.at_ms <= to);
  const found = [];
  for (const edge of edges) {
    if (edge.on) found.push([edge.at_ms, null]);
    else if (found.length > 0) found.at(-1)[1] = edge.at_ms;
  }
  return found.map(([on, off], i) => [
    String(i + 1), String(on - found[0][0]), String(off - on),
    i + 1 < found.length ? String(found[i + 1][0] - off) : "-",
  ]);
}

// the first whole dose of the most pulses among the first two hundred outcomes
function closeUp(lines) {
  let best;
  for (const dose of doses(lines).slice(0, 200)) {
    if (dose.outcome !== "dosed" || !dose.started) continue;
    const rows = pulses(lines, dose);
    if (rows.length > (best?.rows.length ?? 0)) best = { dose, rows };
  }
  return best;
}

function daily(lines, rows) {
  const run = lines.find((line) => line.event === "run");
  const first = day(run.start);
  // by the moment of the due in the device's own time, on its day in true local time
  const trueDay = (line, ms) => Math.floor((ms + offset(line.started ?? run.start) - first) / DAY);
  const drawn = doses(lines).filter((line) => line.volume_most_ul > 0 && at(line))
    .map((line) => ({ ms: moment(lines, line), line }))
    .map(({ ms, line }) => ({ ms: line.due_elapsed_ms, day: Math.max(0, trueDay(line, ms)), ul: line.volume_most_ul }))
    .sort((a, b) => a.ms - b.ms || a.day - b.day || a.ul - b.ul);
  const by = rows.length > 1 ? (day(rows[1][0]) - day(rows[0][0])) / DAY : 1;
  const days = new Map();
  drawn.forEach((dose, i) => {
    const sum = days.get(dose.day) ?? { day: 0, span: 0 };
    sum.day += dose.ul;
    const span = drawn.slice(0, i + 1).filter((other) => dose.ms - other.ms < SPAN)
      .reduce((total, other) => total + other.ul, 0);
    sum.span = Math.max(sum.span, span);
    days.set(dose.day, sum);
  });
  return rows.map((_, i) => {
    const stretch = [...days].filter(([at]) => at >= i * by && at < (i + 1) * by).map(([, sum]) => sum);
    return [
      date(first + i * by * DAY),
      ml(Math.max(0, ...stretch.map((sum) => sum.day))),
      ml(Math.max(0, ...stretch.map((sum) => sum.span))),
      ml(run.ceiling_ul),
    ];
  });
}

// a day's row, a row of what changed the account besides a dose, and the end
function container(lines, forecast, rows) {
  const run = lines.find((line) => line.event === "run");
  const end = lines.at(-1).simulated_ms;
  const account = lines.filter((line) => line.event === "account");
  const levels = forecast.filter((line) => line.event === "level");
  const level = (ms) => account.filter((line) => line.at_ms <= ms).at(-1);
  const besides = account.slice(1).map((line, i) => [account[i], line]).filter(([, line]) => line.by !== "dose")
    .map(([before, line]) => {
      const change = line.level_ul - before.level_ul;
      const word = { told: change < 0 ? "level set" : "filled", contact: "low level" }[line.by] ?? line.by;
      return [line.at_ms, ml(line.level_ul), "-", `${word}, ${ml(Math.abs(change))} ml ${change > 0 ? "more" : "less"}`];
    });
  const passed = (row) => Date.parse(row[0]) - Date.parse(run.start);
  const told = rows.filter((row) => row[3].includes(",")).map((row) => [passed(row), ...row.slice(1)]);
  const days = rows.filter((row) => row[3] === "-");
  const expected = days.map((row) => {
    // the forecast tells midnights: in the day the plan lies between them
    const plan = levels.findIndex((line) => line.day === row[0].slice(0, 10));
    const [high, low] = [levels[plan]?.level_ml, (levels[plan + 1] ?? levels[plan])?.level_ml];
    const isBetween = Number(row[2]) <= high + 0.001 && Number(row[2]) >= low - 0.001;
    const planned = plan < 0 ? "-" : isBetween ? row[2] : number(high, 3);
    return [row[0], ml(level(passed(row)).level_ul), planned, "-"];
  });
  const last = [passed(rows.at(-1)), ...rows.at(-1).slice(1)];
  // days begin at one time of day, whatever the clocks do
  const times = new Set(days.map((row) => row[0].slice(11, 19)));
  // of a dose that is open then no line before the last one tells
  const left = lines.at(-1).account_ul;
  return [[told, besides], [days, expected], [[...times], [run.start.slice(11, 19)]], [last, [end, ml(left), "-", "end of the run"]]];
}

// the lines have two decimals more than the table: half a step of its last one is the same
function errors(train, rows) {
  return train.commanded_error.map((commanded, i) => {
    const outflow = train.outflow_error[i];
    const percents = [commanded.least_percent, commanded.most_percent, outflow.least_percent, outflow.most_percent];
    return [String(commanded.window_min), ...percents.map((percent, column) => {
      const cell = rows[i]?.[column + 1];
      return Math.abs(Number(cell) - percent) <= 0.000051 ? cell : number(percent, 4);
    })];
  });
}

const byDay = (lines, rows, cells) => rows.map((row) => {
  const line = lines.find((line) => line.day === row[0]);
  return line ? [line.day, ...cells(line)] : ["no such day"];
});

// Pairs of what a table says and what it should; `figure` has a title and rows,
// `ask` prints the lines of a command.
export function expected(figure, { lines, ask, file }) {
  const { title, rows } = figure;
  const forecast = () => ask(["forecast", file, "--json", "--courses"]);
  if (title === "What each entry came to") return [[rows, entries(lines)]];
  if (title === "All doses") return [[rows, list(lines, true, rows)]];
  if (title === "Doses that were not dosed") return [[rows, list(lines, false, rows).slice(0, 300)]];
  if (title.startsWith("Week of Monday ")) {
    const from = day(title.slice(-10));
    const folded = doses(lines).filter((line) => line.count);
    const ends = (line) => [moment(lines, line), line.last_due ? Date.parse(line.last_due) : Infinity];
    const inRow = (row) => folded.some((line) => line.entry === row[1] && line.outcome === row[2]
      && or(line.cause) === row[3] && row[4] === "0"
      && Date.parse(row[0]) >= ends(line)[0] - 1 && Date.parse(row[0]) <= ends(line)[1]);
    // what the lines have one by one is there, and all else is of a row
    const rest = rows.map((row) => row.join("|"));
    const missing = week(lines, from, rows).map((row) => row.join("|")).filter((row) => {
      const place = rest.indexOf(row);
      if (place >= 0) rest.splice(place, 1);
      return place < 0;
    });
    return [[missing, []], [rest.filter((row) => !inRow(row.split("|"))), []]];
  }
  if (/^All \d+ weeks in one$/.test(title)) {
    const counts = hours(lines);
    const folded = doses(lines).filter((line) => line.count).reduce((sum, line) => sum + line.count, 0);
    const spread = rows.reduce((sum, row) => sum + Number(row[3]) - (counts.get(row[0])?.[2] ?? 0), 0);
    const plain = (row) => [row[0], row[1], row[2], row[4]];
    const others = rows.filter((row) => counts.has(row[0]));
    return [
      [others.map(plain), others.map((row) => plain([row[0], ...counts.get(row[0]).map(String)]))],
      [[...counts.keys()].filter((hour) => !rows.some((row) => row[0] === hour)), []],
      [spread, folded],
    ];
  }
  if (title === "Pulses of one dose, close up") return [[rows, closeUp(lines).rows]];
  if (title === "Flow error by observation window") {
    const entry = closeUp(lines)?.dose.entry;
    return [[rows, errors(ask(["pulses", file, ...(entry ? ["--entry", entry] : []), "--json"])[0], rows)]];
  }
  if (title === "Daily volume against the ceiling") return [[rows, daily(lines, rows)]];
  if (title === "Level of the container in the run") return container(lines, forecast(), rows);
  if (title === "Level of the container by the timetable") {
    const levels = forecast().filter((line) => line.event === "level");
    return [[rows, byDay(levels, rows, (line) => [number(line.level_ml, 3)])], [rows.at(-1)[0], levels.at(-1).day]];
  }
  if (title === "Battery voltage with the motor running (model)") {
    const volts = forecast().filter((line) => line.event === "voltage");
    const cell = (value) => (value === null ? "-" : number(value, 3));
    return [[rows, byDay(volts, rows, (line) => [cell(line.typical_v), cell(line.worst_v)])], [rows.at(-1)[0], volts.at(-1).day]];
  }
  return undefined;
}

// The matrix of a sweep, over all its parts.
export function matrix(rows, lines) {
  const cells = lines.filter((line) => line.event === "cell").map((cell) => [
    cell.put ?? cell.fault, cell.moment, cell.at, cell.verdict, or(cell.findings[0]), cell.replay,
  ].join("|"));
  const told = rows.map((row) => [row[0], row[1].replace(/^\d+: /, ""), ...row.slice(2)].join("|"));
  return [told.sort(), cells.sort()];
}
