// Lengths and levels in words, as the tables write them.
const perUnit = { m: 1, cm: 0.01, mm: 0.001, in: 0.0254, ft: 0.3048 };
const minus = (text) => text.replace("-", "\u2212");

function lengthWords(metres, unitName) {
  if (unitName === "m" || unitName === "cm" || unitName === "mm") {
    const places = { m: 2, cm: 0, mm: 0 }[unitName];
    return `${minus((metres / perUnit[unitName]).toFixed(places))} ${unitName}`;
  }
  const eighths = Math.round(Math.abs(metres) / 0.0254 * 8);
  const sign = metres < 0 && eighths ? "\u2212" : "";
  const feet = unitName === "ft" ? Math.floor(eighths / 96) : 0, rest = eighths - 96 * feet;
  const inches = Math.floor(rest / 8), part = rest % 8;
  const shared = part % 4 === 0 ? 4 : part % 2 === 0 ? 2 : 1;
  const fraction = part ? `${part / shared}/${8 / shared}` : "";
  const words = [inches || !fraction ? String(inches) : "", fraction].filter(Boolean).join(" ");
  return `${sign}${feet ? `${feet} ft ` : ""}${words} in`;
}

const levelWords = (level) => `${minus(level.toFixed(1))} dB`;
const octaveWords = (hz) => (hz >= 1000 ? `${hz / 1000} kHz` : `${hz} Hz`);
