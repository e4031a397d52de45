/** Lengths as the setup's file shows them; the same words as fixture3d/units.py. */

const MM_PER_INCH = 25.4;

/**
 * Millimetres to 0.01 with trailing zeros cut; inches as a fraction to 1/64 and what is left over in thousandths.
 * @param {number} mm @param {"mm" | "in"} units
 */
export function show(mm, units) {
  if (units === "mm") {
    const text = hundredths(mm).replace(/\.?0+$/, "");
    return `${text === "-0" || text === "" ? "0" : text} mm`;
  }
  const inches = Math.abs(mm) / MM_PER_INCH;
  const steps = roundHalfEven(inches * 64);
  const thousandths = roundHalfEven((inches - steps / 64) * 1000);
  const sign = mm < 0 && (steps || thousandths) ? "-" : "";
  if (thousandths && !steps) return `${sign}${(thousandths / 1000).toFixed(3)} in`;
  const over = thousandths > 0 === (sign === "");
  const rest = thousandths ? ` ${over ? "plus" : "less"} ${Math.abs(thousandths / 1000).toFixed(3)} in` : "";
  return `${sign}${mixed(steps)} in${rest}`;
}

/** An angle to a hundredth of a degree. @param {number} degrees */
export function showAngle(degrees) {
  return `${degrees.toFixed(2).replace(/\.?0+$/, "")}°`;
}

/** `toFixed(2)` with exact halves to the even digit, as Python prints them. @param {number} mm */
function hundredths(mm) {
  const tie = Number.isInteger(mm * 8) && !Number.isInteger(mm * 4);
  return tie ? (roundHalfEven(mm * 100) / 100).toFixed(2) : mm.toFixed(2);
}

/** @param {number} x */
function roundHalfEven(x) {
  const low = Math.floor(x);
  const rest = x - low;
  if (rest !== 0.5) return Math.round(x) + 0;
  return low % 2 === 0 ? low : low + 1;
}

/** Sixty-fourths as a person writes them: 0, 3/4, 1-1/2. @param {number} steps */
function mixed(steps) {
  const whole = Math.floor(steps / 64);
  let [top, bottom] = [steps % 64, 64];
  if (!top) return String(whole);
  while (top % 2 === 0) [top, bottom] = [top / 2, bottom / 2];
  return whole ? `${whole}-${top}/${bottom}` : `${top}/${bottom}`;
}
