package rules

import (
	"time"

	"binwatchd/internal/farm"
)

// nearFreezing is the level, °C, under which parts of a bin may be frozen while
// its probe still reads above 0: cheap thermometers are a degree off and a bin
// is not warm alike everywhere. A choice.
const nearFreezing = 2

// icy tells whether a zone may be frozen in parts at m. A moisture probe then
// reads too dry: it goes by how much water there is that an electric field can
// turn, and ice is not (its relative permittivity is about 3, that of water at
// 0 °C about 88; textbook values, from memory). Water poured on it freezes, or
// stands until it thaws.
func (z *zone) icy(m time.Time) bool {
	a := z.bin.ambient
	switch {
	case anyFresh(z.temp.probes, m):
		return z.temp.Value < nearFreezing
	case a != nil && a.fresh(m):
		return a.Good.Value < nearFreezing-3 // a bin lags its room, and worms warm it
	}
	return !z.temp.At.IsZero() && z.temp.Value < nearFreezing // when it was last heard
}

// icyAdvice is what to do where a zone seems dry and may be frozen.
func icyAdvice() *farm.Advice {
	return &farm.Advice{
		First: true,
		Do:    "No water now: it is near freezing, and a probe takes ice for dryness. Get it frost-free first, and judge it again when it has thawed.",
	}
}
