package leak

import (
	"encoding/binary"
	"hash/fnv"
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
