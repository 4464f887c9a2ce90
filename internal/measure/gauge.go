package measure

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// tenThou is the step of the SWG table, a ten-thousandth of an inch, exactly.
const tenThou = Inch / 10_000

// swgSizes holds the Imperial Standard Wire Gauge from 7/0 to 50 in
// ten-thousandths of an inch, as set by Order in Council of 23 August 1883 and
// printed since in BS 3737:1964; taken from the inch column of the Engineering
// ToolBox page "SWG". Its mm column misprints 1/0 (8.236 for 8.230), which is
// why millimetres are derived here and never copied.
var swgSizes = [...]Length{
	5000, 4640, 4320, 4000, 3720, 3480, 3240, // 7/0 to 1/0
	3000, 2760, 2520, 2320, 2120, 1920, 1760, 1600, 1440, 1280, // 1 to 10
	1160, 1040, 920, 800, 720, 640, 560, 480, 400, 360, // 11 to 20
	320, 280, 240, 220, 200, 180, 164, 148, 136, 124, // 21 to 30
	116, 108, 100, 92, 84, 76, 68, 60, 52, 48, // 31 to 40
	44, 40, 36, 32, 28, 24, 20, 16, 12, 10, // 41 to 50
}

// awgSizes holds the American Wire Gauge from 4/0 to 40 in nanometres, by the
// formula of ASTM B258 (from memory): 0.005 in × 92^((36−n)/39), with n = −3
// for 4/0. A test holds each figure to the formula in exact arithmetic.
var awgSizes = [...]Length{
	11_684_000, 10_404_902, 9_265_833, 8_251_463, // 4/0 to 1/0
	7_348_140, 6_543_707, 5_827_340, 5_189_396, 4_621_291, 4_115_378, 3_664_850, 3_263_643, 2_906_358, 2_588_187, // 1 to 10
	2_304_847, 2_052_525, 1_827_827, 1_627_727, 1_449_532, 1_290_846, 1_149_531, 1_023_687, 911_620, 811_821, // 11 to 20
	722_947, 643_803, 573_323, 510_559, 454_666, 404_892, 360_567, 321_094, 285_942, 254_639, // 21 to 30
	226_763, 201_938, 179_831, 160_144, 142_612, 127_000, 113_097, 100_716, 89_690, 79_871, // 31 to 40
}

// series is one gauge system: sizes in order, the first of them zeros/0.
type series struct {
	sizes []Length
	unit  Length
	zeros int
}

func (u Unit) series() series {
	if u == SWG {
		return series{swgSizes[:], tenThou, 7}
	}
	return series{awgSizes[:], Nanometre, 4}
}

// size returns the size with a gauge number, written as 16, 4/0, 0000 or 0.
func (u Unit) size(number string) (Length, bool) {
	s := u.series()
	i := -1
	if zeros, ok := strings.CutSuffix(number, "/0"); ok && len(zeros) == 1 && zeros[0] >= '1' && zeros[0] <= '9' {
		i = s.zeros - int(zeros[0]-'0')
	} else if number != "" && strings.Trim(number, "0") == "" {
		i = s.zeros - len(number)
	} else if n, err := strconv.Atoi(number); err == nil && number == strconv.Itoa(n) && n >= 1 {
		i = s.zeros + n - 1
	}
	if i < 0 || i >= len(s.sizes) {
		return 0, false
	}
	return s.sizes[i] * s.unit, true
}

// name writes the gauge number of the size at an index.
func (s series) name(i int) string {
	if i < s.zeros {
		return fmt.Sprintf("%d/0", s.zeros-i)
	}
	return strconv.Itoa(i - s.zeros + 1)
}

func (u Unit) span() string {
	s := u.series()
	return s.name(0) + " to " + s.name(len(s.sizes)-1)
}

// named returns the number of the one size that equals l to 0.01 mm. Thin
// sizes lie closer together than that: where two would do, only an exact match
// counts.
func (u Unit) named(l Length) (string, bool) {
	s := u.series()
	if i := slices.Index(s.sizes, l/s.unit); i >= 0 && s.sizes[i]*s.unit == l {
		return s.name(i), true
	}
	var fits []int
	for i, size := range s.sizes {
		if (size * s.unit).MM() == l.MM() {
			fits = append(fits, i)
		}
	}
	if len(fits) != 1 {
		return "", false
	}
	return s.name(fits[0]), true
}

// Gauge writes the thickness as a gauge with its system named: "16 SWG". One
// that was written in a gauge keeps it. Otherwise SWG is tried and then AWG,
// and the size must be the same to 0.01 mm; if there is none the error is
// ErrNoGauge.
func (t Thickness) Gauge() (string, error) {
	if t.Unit.IsGauge() {
		return t.Digits + noBreak + string(t.Unit), nil
	}
	for _, u := range []Unit{SWG, AWG} {
		if name, ok := u.named(t.Length); ok {
			return name + noBreak + string(u), nil
		}
	}
	return "", fmt.Errorf("%s is %w to 0.01 mm; use mm or inch", plain(t.Length.MM()), ErrNoGauge)
}
