package measure

import (
	"errors"
	"fmt"
	"strings"

	"example.org/opencowl/internal/reading"
)

// Percent is a share in thousandths of one percent: 10% is 10,000.
type Percent int64

// OnePercent is one in a hundred.
const OnePercent Percent = 1000

// ErrGrowth means that more metal is said to be left than there ever was.
var ErrGrowth = errors.New("more is left than there was")

// ParsePercent reads "10%" or "12.5%", with at most three places.
func ParsePercent(s string) (Percent, error) {
	number, ok := strings.CutSuffix(strings.TrimSpace(s), "%")
	number = strings.TrimSpace(number)
	value, isNumber := plainDecimal(number)
	if !ok || !isNumber || len(number) > 12 {
		return 0, fmt.Errorf("%q is not a percentage; write it as 10%%", reading.Shorten(s))
	}
	value.Mul(value, ratio(int64(OnePercent), 1))
	if !value.IsInt() {
		return 0, fmt.Errorf("%q has more than three decimal places; write it as 12.5%%", reading.Shorten(s))
	}
	if value.Cmp(ratio(100*int64(OnePercent), 1)) > 0 {
		return 0, fmt.Errorf("%q is more than the whole; a loss is between 0%% and 100%%", reading.Shorten(s))
	}
	return Percent(value.Num().Int64()), nil
}

// String writes the percentage without needless zeros: "10%", "12.5%".
func (p Percent) String() string {
	s := fmt.Sprintf("%d.%03d", p/OnePercent, p%OnePercent)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".") + "%"
}

// UnmarshalText reads a percentage; empty text is 0%.
func (p *Percent) UnmarshalText(text []byte) error { return readText(p, text, ParsePercent) }

// Loss is the share of a nominal thickness that is gone:
// (nominal − remaining) ÷ nominal.
type Loss struct{ nominal, remaining Length }

// LossOf works out a loss. A nominal thickness of nothing, a negative reading
// and growth (ErrGrowth) are errors: one of the two readings is wrong.
func LossOf(nominal, remaining Length) (Loss, error) {
	switch {
	case nominal <= 0:
		return Loss{}, errors.New("the thickness when new is not above 0; write the part's thickness")
	case remaining < 0:
		return Loss{}, errors.New("the thickness left is below 0; check the reading")
	case remaining > nominal:
		return Loss{}, fmt.Errorf("%w (%s of %s); clean off the corrosion and measure again, or check the part's thickness",
			ErrGrowth, plain(remaining.MM()), plain(nominal.MM()))
	}
	return Loss{nominal, remaining}, nil
}

// plain takes the no-break spaces out, for messages.
func plain(s string) string { return strings.ReplaceAll(s, noBreak, " ") }

// Percent returns the loss to a whole percent, half to even.
func (l Loss) Percent() Percent {
	return Percent(roundInt(ratio(100*int64(l.nominal-l.remaining), int64(l.nominal)))) * OnePercent
}

// Over reports whether the loss itself, not its rounded figure, is more than a limit.
func (l Loss) Over(limit Percent) bool {
	return ratio(int64(l.nominal-l.remaining), int64(l.nominal)).Cmp(ratio(int64(limit), 100*int64(OnePercent))) > 0
}

// Left is what remains of a nominal thickness after a loss, to the nanometre.
func Left(nominal Length, loss Percent) Length {
	left := ratio(100*int64(OnePercent)-int64(loss), 100*int64(OnePercent))
	return Length(roundInt(left.Mul(left, ratio(int64(nominal), 1))))
}
