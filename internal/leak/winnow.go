package leak

import (
	"encoding/binary"
	"hash/fnv"
	"strings"
)

// Fingerprint is one selected hash and the place of its k-gram.
type Fingerprint struct {
	Hash     uint64
	Position int
}

// Winnow selects fingerprints from the hashes of a document's k-grams: of each
// window of w hashes the smallest, the rightmost if several are, recorded once
// (Schleimer, Wilkerson, Aiken: Winnowing, SIGMOD 2003, section 3). Whatever two
// documents share in w+k−1 places in a row, they share a fingerprint of. Fewer
// than w hashes count as one window.
func Winnow(hashes []uint64, w int) []Fingerprint {
	if len(hashes) == 0 || w < 1 {
		return nil
	}
	var picked []Fingerprint
	w = min(w, len(hashes))
	least := -1
	for end := w - 1; end < len(hashes); end++ {
		start := end - w + 1
		switch {
		case least < start: // the last pick has left the window
			least = start
			for i := start + 1; i <= end; i++ {
				if hashes[i] <= hashes[least] {
					least = i
				}
			}
		case hashes[end] <= hashes[least]:
			least = end
		default:
			continue
		}
		picked = append(picked, Fingerprint{hashes[least], least})
	}
	return picked
}

// Shingles returns the distinct runs of w words, in the order in which they
// first appear (Broder, Glassman, Manasse, Zweig: Syntactic clustering of the
// Web, 1997).
func Shingles(words []string, w int) []string {
	var all []string
	seen := map[string]bool{}
	for i := 0; w > 0 && i+w <= len(words); i++ {
		s := strings.Join(words[i:i+w], " ")
		if !seen[s] {
			seen[s] = true
			all = append(all, s)
		}
	}
	return all
}

// Resemblance is |A∩B| ÷ |A∪B| of two sets (Broder and others, 1997); 0 if both
// are empty.
func Resemblance[T comparable](a, b []T) float64 {
	both, all := overlap(a, b)
	if all == 0 {
		return 0
	}
	return float64(both) / float64(all)
}

// Containment is |A∩B| ÷ |A|: how much of a is in b (Broder and others, 1997);
// 0 if a is empty.
func Containment[T comparable](a, b []T) float64 {
	both, _ := overlap(a, b)
	if len(a) == 0 {
		return 0
	}
	return float64(both) / float64(len(distinct(a)))
}

func overlap[T comparable](a, b []T) (both, all int) {
	in := distinct(a)
	all = len(in)
	for e := range distinct(b) {
		if in[e] {
			both++
		} else {
			all++
		}
	}
	return both, all
}

func distinct[T comparable](s []T) map[T]bool {
	set := make(map[T]bool, len(s))
	for _, e := range s {
		set[e] = true
	}
	return set
}

// MinHash is the signature of a set: under each hash function the smallest value
// of its elements (Leskovec, Rajaraman, Ullman: Mining of Massive Datasets,
// section 3.3). Two sets agree in a row as often as they resemble each other.
func MinHash[T any](set []T, hashes []func(T) uint64) []uint64 {
	signature := make([]uint64, len(hashes))
	for i, h := range hashes {
		signature[i] = ^uint64(0)
		for _, e := range set {
			signature[i] = min(signature[i], h(e))
		}
	}
	return signature
}

// hashWords is a hash of the numbers of words.
func hashWords(ids []uint32) uint64 {
	h := fnv.New64a()
	var b [4]byte
	for _, id := range ids {
		binary.LittleEndian.PutUint32(b[:], id)
		h.Write(b[:])
	}
	return h.Sum64()
}

// hashesOf are the hashes of the k-grams of a text.
func hashesOf(ids []uint32, k int) []uint64 {
	if len(ids) < k {
		return nil
	}
	all := make([]uint64, len(ids)-k+1)
	for i := range all {
		all[i] = hashWords(ids[i : i+k])
	}
	return all
}
