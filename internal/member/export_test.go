package member

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/testtool"

	"example.org/opencowl/internal/store"
)

// hostile are names and sources that a spreadsheet would run, and some that look as
// if they had been kept from it already.
func hostile() []string {
	return []string{"=1+1", "=HYPERLINK(\"http://example.org\",\"x\")", "+44 1632 960000", "-2", "@SUM(A1)", "＝1", "＋1", "－1", "＠x",
		"'=1", "''=1", "'+x", "O'Hara", "'t Hoen", "plain", "a,b", "a;b", "a \"quoted\" name", "\"", "'", "Zoë Näslund", "Ελένη", "1;2", "tab\u00a0kept"}
}

func export(t *testing.T, h *house, f Filter) string {
	t.Helper()
	var b bytes.Buffer
	if _, err := h.Export(t.Context(), &b, f, "nell", ""); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// everybody has people in every state, on every basis, with every hostile name.
func everybody(t *testing.T) *house {
	t.Helper()
	h := newHouse(t)
	var list strings.Builder
	w := csv.NewWriter(&list)
	w.Write(Columns())
	for i, name := range hostile() {
		for j, state := range States() {
			address := strings.Repeat("x", i+1) + string(state) + "@example.org"
			if i == 3 {
				address = "+" + address // a dot-atom may begin like a formula (RFC 5322 3.2.3)
			}
			row := []string{guarded(name), guarded(address), "consent", guarded(name), "2031-1", "2030-05-01T10:00:0" + string(rune('0'+j)) + "Z", "", "2031-12-31", string(state), "", "", "", "", "", ""}
			switch state {
			case Joined:
				row[9] = "2030-05-02"
			case Left:
				row[10] = "2030-06-01T00:00:00Z"
			case Paused:
				row[2], row[11], row[12], row[13], row[14] = "charity-soft-opt-in", "directly", "interest", "charitable", "offered"
			case Dead:
				if i%2 == 0 {
					row[2], row[3], row[4], row[5] = "", "", "", ""
				}
			}
			w.Write(row)
		}
	}
	w.Flush()
	report := bringIn(t, h.DB, list.String(), ImportOptions{Charity: true, Words: h.Words})
	if len(report.Refused) > 0 {
		t.Fatalf("refused: %+v", report.Refused)
	}
	return h
}

func TestAnExportComesBackTheSame(t *testing.T) {
	h, other := everybody(t), newHouse(t)
	list := export(t, h, Filter{})
	report := bringIn(t, other.DB, list, ImportOptions{Charity: true, AllOrNothing: true, Words: other.Words})
	if report.Added != len(hostile())*len(States()) {
		t.Errorf("report = %s", report)
	}
	nameless := func(people []Member) []Member {
		for i := range people {
			people[i].ID = ""
		}
		return people
	}
	if got, want := nameless(all(t, other.DB)), nameless(all(t, h.DB)); !reflect.DeepEqual(got, want) {
		for i := range want {
			if !reflect.DeepEqual(got[i], want[i]) {
				t.Errorf("got  %+v\nwant %+v", got[i], want[i])
			}
		}
	}
	if again := export(t, other, Filter{}); again != list {
		t.Errorf("exported again it differs:\n%s\n%s", again, list)
	}
	// Nor does it change anything where it came from.
	if r := bringIn(t, h.DB, list, ImportOptions{Charity: true}); r.Added != 0 || r.Stopped != 0 || export(t, h, Filter{}) != list {
		t.Errorf("brought in where it came from: %s", r)
	}
}

func TestAnExportIsFilteredByStateAndBasis(t *testing.T) {
	h := everybody(t)
	n := len(hostile())
	for f, want := range map[Filter]int{{}: 5 * n, {State: Joined}: n, {Basis: SoftOptIn}: n, {State: Joined, Basis: SoftOptIn}: 0, {State: Joining, Basis: Consented}: n} {
		if lines := strings.Count(export(t, h, f), "\r\n"); lines != want+1 {
			t.Errorf("%+v: %d lines, want %d and a header", f, lines, want)
		}
	}
}

// Python's own reader stands for the programs that open such a list.
func TestNoCellOfAnExportIsAFormula(t *testing.T) {
	python := testtool.Need(t, "python3")
	h := everybody(t)
	path := filepath.Join(t.TempDir(), "list.csv")
	if err := os.WriteFile(path, []byte(export(t, h, Filter{})), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(python, "-c", `
import csv, json, sys
with open(sys.argv[1], encoding="utf-8-sig", newline="") as f:
    print(json.dumps(list(csv.reader(f, strict=True))))`, path).Output()
	if err != nil {
		t.Fatal(err)
	}
	var rows [][]string
	if err := json.Unmarshal(out, &rows); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(rows[0], Columns()) || len(rows) != 1+len(hostile())*len(States()) {
		t.Fatalf("%d rows under %v", len(rows), rows[0])
	}
	for _, row := range rows[1:] {
		if len(row) != len(Columns()) {
			t.Errorf("%d cells: %q", len(row), row)
		}
		for _, cell := range row {
			if r := []rune(cell + " ")[0]; strings.ContainsRune("=+-@\t\r\n＝＋－＠", r) {
				t.Errorf("a spreadsheet would run %q", cell)
			}
		}
	}
}

func TestTheLedgerKnowsOfAnExportAndNobodyInIt(t *testing.T) {
	h := newHouse(t)
	h.add(t, "ada@example.org")
	export(t, h, Filter{})
	rows, err := h.DB.Read(t.Context(), `SELECT who || kind || unit || detail FROM ledger`)
	text, err := store.Texts(rows, err)
	if err != nil || !slices.ContainsFunc(text, func(s string) bool { return strings.Contains(s, `nellmembers-exportedmembers{"people":1}`) }) ||
		strings.Contains(strings.ToLower(strings.Join(text, "\n")), "ada") {
		t.Errorf("the ledger: %q, %v", text, err)
	}
}

func FuzzGuard(f *testing.F) {
	for _, s := range hostile() {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		g := guarded(s)
		if isFormula(g) {
			t.Fatalf("guarded(%q) = %q still begins like a formula", s, g)
		}
		if back := unguarded(g); back != s {
			t.Fatalf("%q comes back as %q", s, back)
		}
	})
}
