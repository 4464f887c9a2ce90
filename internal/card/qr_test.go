package card

import (
	"bufio"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/boombuler/barcode/qr"
	"rsc.io/qr/coding"
)

// capacity is one row of testdata/qr_capacity.txt.
type capacity struct {
	version, modules int
	l, m, q, h       int // bytes
}

func capacities(t *testing.T) []capacity {
	t.Helper()
	f, err := os.Open("testdata/qr_capacity.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var all []capacity
	for scan := bufio.NewScanner(f); scan.Scan(); {
		if strings.HasPrefix(scan.Text(), "#") {
			continue
		}
		var c capacity
		if _, err := fmt.Sscan(scan.Text(), &c.version, &c.modules, &c.l, &c.m, &c.q, &c.h); err != nil {
			t.Fatalf("%q: %v", scan.Text(), err)
		}
		all = append(all, c)
	}
	if len(all) != 40 {
		t.Fatalf("%d versions; want 40", len(all))
	}
	return all
}

// The side of every code is that of the published table for the smallest
// version which holds the address at level M.
func TestQRVersionsAgreeWithTheTable(t *testing.T) {
	table := capacities(t)
	for i, c := range table {
		least := 1
		if i > 0 {
			least = table[i-1].m + 1
		}
		for _, n := range []int{least, c.m} {
			code, err := new(qrSizes).encode(address(n))
			if err != nil {
				t.Fatal(err)
			}
			if got := code.side; got != c.modules {
				t.Errorf("%d bytes give %d modules a side; want version %d with %d", n, got, c.version, c.modules)
			}
		}
	}
	if _, err := new(qrSizes).encode(address(table[39].m + 1)); err == nil {
		t.Error("an address too long for any code was encoded")
	}
}

func address(n int) string {
	return (strings.Repeat("https://example.org/stop/", 100) + strings.Repeat("x", n))[:n]
}

func TestQRRecoversAsMuchAsItsSizeAllows(t *testing.T) {
	table := capacities(t)
	for i, c := range table {
		for _, level := range []struct {
			bytes int
			want  coding.Level
		}{{c.h, coding.H}, {c.q, coding.Q}, {c.m, coding.M}} {
			if i > 0 && level.bytes <= table[i-1].m {
				continue // a smaller code holds it
			}
			version, got, err := qrSize(address(level.bytes))
			if err != nil {
				t.Fatal(err)
			}
			if int(version) != c.version || got != level.want {
				t.Errorf("%d bytes: version %v at level %v; want %d at %v", level.bytes, version, got, c.version, level.want)
			}
		}
	}
}

// Another encoder, written apart from the one in use, makes the same modules.
func TestQRModulesAreThoseOfAnotherEncoder(t *testing.T) {
	levels := map[coding.Level]qr.ErrorCorrectionLevel{coding.M: qr.M, coding.Q: qr.Q, coding.H: qr.H}
	lengths := []int{400, 700, 1500, 2331}
	for n := 1; n < 260; n++ {
		lengths = append(lengths, n)
	}
	for _, n := range lengths {
		text := strings.Map(func(r rune) rune {
			if r == 'x' {
				return rune('a' + n%26)
			}
			return r
		}, address(n))
		got, err := new(qrSizes).encode(text)
		if err != nil {
			t.Fatal(err)
		}
		_, level, err := qrSize(text)
		if err != nil {
			t.Fatal(err)
		}
		want, err := qr.Encode(text, levels[level], qr.Unicode)
		if err != nil {
			t.Fatal(err)
		}
		if side := want.Bounds().Dx(); got.side != side {
			t.Fatalf("%q: %d modules a side; want %d", text, got.side, side)
		}
		differ := 0
		for y := range got.side {
			for x := range got.side {
				if r, _, _, _ := want.At(x, y).RGBA(); got.at(x, y) != (r == 0) {
					differ++
				}
			}
		}
		if differ > 0 {
			t.Errorf("%q: %d modules differ from the other encoder's", text, differ)
		}
	}
}
