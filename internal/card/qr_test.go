package card

import (
	"bufio"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/boombuler/barcode/qr"
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
			code, err := encodeQR(address(n))
			if err != nil {
				t.Fatal(err)
			}
			if got := code.Bounds().Dx(); got != c.modules {
				t.Errorf("%d bytes give %d modules a side; want version %d with %d", n, got, c.version, c.modules)
			}
		}
	}
	if _, err := encodeQR(address(table[39].m + 1)); err == nil {
		t.Error("an address too long for any code was encoded")
	}
}

func address(n int) string {
	return (strings.Repeat("https://example.org/stop/", 100) + strings.Repeat("x", n))[:n]
}

func TestQRRecoversAsMuchAsItsSizeAllows(t *testing.T) {
	for _, c := range capacities(t)[:10] {
		m, q, h := qrRoom(c.version)
		if m != c.m || q != c.q || h != c.h {
			t.Errorf("version %d: room %d %d %d; want %d %d %d", c.version, m, q, h, c.m, c.q, c.h)
		}
	}
	for _, c := range []struct {
		bytes int
		want  qr.ErrorCorrectionLevel
	}{{7, qr.H}, {8, qr.Q}, {12, qr.M}, {14, qr.M}, {20, qr.Q}, {21, qr.M}, {32, qr.Q}, {33, qr.M}, {46, qr.Q}, {47, qr.M}, {213, qr.M}, {900, qr.M}} {
		if got := qrLevel(c.bytes); got != c.want {
			t.Errorf("qrLevel(%d) = %v; want %v", c.bytes, got, c.want)
		}
	}
}
