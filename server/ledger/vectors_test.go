package ledger

import (
	"crypto/sha256"
	"encoding/json"
	"os"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
)

// TestPublicVectors: the published good and bad proofs, of inclusion and of
// consistency.
func TestPublicVectors(t *testing.T) {
	text, err := os.ReadFile("testdata/merkle-vectors.json")
	if err != nil {
		t.Fatal(err)
	}
	var vectors struct {
		Inclusion []struct {
			Name        string
			Index, Size uint64
			Root, Leaf  []byte
			Proof       [][]byte
			Refused     bool
		}
		Consistency []struct {
			Name         string
			Size1, Size2 uint64
			Root1, Root2 []byte
			Proof        [][]byte
			Refused      bool
		}
	}
	if err := json.Unmarshal(text, &vectors); err != nil {
		t.Fatal(err)
	}
	if len(vectors.Inclusion) != 98 || len(vectors.Consistency) != 98 {
		t.Fatalf("%d and %d vectors", len(vectors.Inclusion), len(vectors.Consistency))
	}
	for _, v := range vectors.Inclusion {
		t.Run("inclusion/"+v.Name, func(t *testing.T) {
			root, leaf, hashes := hashOf(v.Root), hashOf(v.Leaf), hashesOf(v.Proof)
			held := root != nil && leaf != nil && hashes != nil &&
				included(Checkpoint{Size: int64(v.Size), Root: *root}, int64(v.Index), *leaf, hashes) == nil
			if held == v.Refused {
				t.Errorf("held: %v", held)
			}
		})
	}
	for _, v := range vectors.Consistency {
		t.Run("consistency/"+v.Name, func(t *testing.T) {
			old, grown := Checkpoint{Size: int64(v.Size1), Root: rootOf(v.Root1)}, Checkpoint{Size: int64(v.Size2), Root: rootOf(v.Root2)}
			hashes := hashesOf(v.Proof)
			held := hashes != nil && CheckConsistency(old, grown, hashes) == nil
			if held == v.Refused {
				t.Errorf("held: %v", held)
			}
		})
	}
}

// hashOf is nil for what is no hash: a reader of files refuses that by its length.
func hashOf(b []byte) *tlog.Hash {
	if len(b) != tlog.HashSize {
		return nil
	}
	h := tlog.Hash(b)
	return &h
}

func hashesOf(proof [][]byte) []tlog.Hash {
	hashes := []tlog.Hash{}
	for _, b := range proof {
		h := hashOf(b)
		if h == nil {
			return nil
		}
		hashes = append(hashes, *h)
	}
	return hashes
}

// rootOf: some vectors have texts where roots belong, of which only matters
// whether they are the same.
func rootOf(b []byte) tlog.Hash {
	if h := hashOf(b); h != nil {
		return *h
	}
	return sha256.Sum256(b)
}
