package main

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/store"
)

// membersBench brings in a list of 100,000 rows, one in ten of them with a fault, into
// an empty database, and then once more, when everybody is known. It writes the list
// out again, and looks at the most memory that was in use meanwhile.
func membersBench(ctx context.Context) error {
	const rows = 100_000
	dir, err := os.MkdirTemp("", "opencowl-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "members.csv")
	if err := dirtyList(path, rows); err != nil {
		return err
	}
	db, err := store.Open(ctx, filepath.Join(dir, "opencowl.db"), store.Options{})
	if err != nil {
		return err
	}
	defer db.Close()
	keys := member.KeysIn(filepath.Join(dir, "members.keys"), time.Now, nil)
	for _, what := range []string{"new", "known"} {
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		runtime.GC()
		var most uint64
		look := func(int, int) {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most = max(most, m.HeapInuse)
		}
		start := time.Now()
		report, err := member.Import(ctx, db, f, member.ImportOptions{Charity: true, Keys: keys, By: "nell", Refuse: func(member.Refusal) {}, Progress: look})
		took := time.Since(start)
		f.Close()
		if err != nil {
			return err
		}
		fmt.Printf("%s: %s\n%-6s %6.2f s, %4.0f µs a row, at most %d MB of memory in use\n", what, report, "", took.Seconds(), took.Seconds()/rows*1e6, most>>20)
	}
	start := time.Now()
	out, err := os.Create(filepath.Join(dir, "export.csv"))
	if err != nil {
		return err
	}
	defer out.Close()
	n, err := member.Register{DB: db, Keys: keys}.Export(ctx, out, member.Filter{}, "nell", "")
	if err != nil {
		return err
	}
	fmt.Printf("export of %d people: %.2f s\n", n, time.Since(start).Seconds())
	return nil
}

// dirtyList writes a list of invented people, as such lists are.
func dirtyList(path string, rows int) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(f)
	fmt.Fprintln(w, "name,email,basis,source,wording_version,consented_at,giving_from,giving_until,state,collected,because,purpose,refusal")
	r := rand.New(rand.NewPCG(1, 2))
	faults := []string{
		"Bad %d,no at sign %d,consent,gate form,v3,2025-05-01,,,joined,,,,\n",
		"Bad %d,bad%d@example.org,,gate form,v3,2025-05-01,,,joined,,,,\n",
		"Bad %d,bad%d@example.org,consent,gate form,v3,01/05/2025,soon,,joined,,,,\n",
		"Bad %d,bad%d@example.org,charity-soft-opt-in,bought,v3,2025-05-01,,,joined,third-party,interest,mixed,offered\n",
		"\"Bad\" %d,bad%d@example.org,consent,gate form,v3,2025-05-01,,,joined,,,,\n",
		"Bad %d,BAD%d@Example.ORG,consent,,,,,,subscribed,,,,\n",
	}
	for i := range rows {
		switch {
		case r.IntN(10) == 0:
			fmt.Fprintf(w, faults[r.IntN(len(faults))], i, i)
		case r.IntN(20) == 0:
			fmt.Fprintf(w, "Somebody Who Left %d, Person.%d@bücher.example ,,,,,,,left,,,,\n", i, i)
		default:
			fmt.Fprintf(w, "\"Person, Number %d\",person.%d@Example.org,consent,\"paper form, open day\",2024-join-1,2024-05-01,2024-05-01,,joined,,,,\n", i, i)
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return f.Close()
}
