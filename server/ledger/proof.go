package ledger

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/transparency-dev/formats/proof"
	"golang.org/x/mod/sumdb/tlog"

	"lampwright/locales/problem"
)

const maxProof = 128 << 10 // bytes of a proof file

// Proved is what a proof file shows.
type Proved struct {
	Index      int64
	Kind       string
	At         time.Time
	Record     []byte
	Checkpoint Checkpoint
}

// content is the extra data of a proof file, as JSON: all that the leaf is made
// of, except the index, which the file gives itself. Salt and record are base64.
type content struct {
	Kind   string `json:"kind"`
	At     string `json:"at"` // UTC, as in timeForm
	Salt   []byte `json:"salt"`
	Record []byte `json:"record"`
}

const timeForm = "2006-01-02T15:04:05.000Z"

// Prove makes the proof file of an entry in the log of a checkpoint.
func Prove(checkpoint []byte, r tlog.HashReader, e Entry) (_ []byte, err error) {
	defer problem.In(&err, "ledger.Prove")
	if !e.held() {
		return nil, problem.New(problem.Unknown, "ledger.proof-erased", "Index", e.Index)
	}
	c, err := readCheckpoint(checkpoint)
	if err != nil {
		return nil, err
	}
	hashes, err := tlog.ProveRecord(c.Size, e.Index, r)
	if err != nil {
		return nil, err
	}
	// What the records hold may have been changed: no file leaves that is not good.
	if !e.says() {
		return nil, fmt.Errorf("entry %d does not hold what its leaf says", e.Index)
	}
	if err := included(c, e.Index, tlog.RecordHash(e.Leaf[:]), hashes); err != nil {
		return nil, fmt.Errorf("entry %d: %w", e.Index, err)
	}
	extra, err := json.Marshal(content{e.Kind, e.At.UTC().Format(timeForm), e.Salt, e.Record})
	if err != nil {
		return nil, err
	}
	p := proof.TLogProof{Index: uint64(e.Index), Checkpoint: checkpoint, ExtraData: extra}
	for _, h := range hashes {
		p.Hashes = append(p.Hashes, h)
	}
	return p.Marshal(), nil
}

// included says whether the proof leads from the tree's hash of a leaf to the
// checkpoint's root.
func included(c Checkpoint, index int64, leaf tlog.Hash, p tlog.RecordProof) error {
	return tlog.CheckRecord(p, c.Size, c.Root, index, leaf)
}

// VerifyProof checks a proof file against the verifier lines that the reader
// pinned, and needs nothing else.
func VerifyProof(file []byte, verifiers ...string) (_ Proved, err error) {
	defer problem.In(&err, "ledger.VerifyProof")
	known, err := readVerifiers(verifiers)
	if err != nil {
		return Proved{}, err
	}
	p, e, err := readProof(file)
	if err != nil {
		return Proved{}, problem.Wrap(err, problem.Invalid, "ledger.proof-unreadable")
	}
	c, err := open(p.Checkpoint, known)
	if err != nil {
		return Proved{}, err
	}
	leaf := leafOf(e.Index, e.Kind, e.At, bodyOf(e.Salt, e.Record))
	var hashes tlog.RecordProof
	for _, h := range p.Hashes {
		hashes = append(hashes, h)
	}
	if err := included(c, e.Index, tlog.RecordHash(leaf[:]), hashes); err != nil {
		return Proved{}, problem.Wrap(err, problem.Invalid, "ledger.proof-false")
	}
	return Proved{Index: e.Index, Kind: e.Kind, At: e.At, Record: e.Record, Checkpoint: c}, nil
}

// readProof reads the one form that Prove writes: a file that was changed in any
// byte is another file, also where its meaning would be the same.
func readProof(file []byte) (p proof.TLogProof, e Entry, err error) {
	if len(file) > maxProof {
		return p, e, fmt.Errorf("%d bytes", len(file))
	}
	if err := p.Unmarshal(file); err != nil {
		return p, e, err
	}
	if p.Index > math.MaxInt64 || !bytes.Equal(p.Marshal(), file) {
		return p, e, errors.New("not in canonical form")
	}
	var c content
	if err := json.Unmarshal(p.ExtraData, &c); err != nil {
		return p, e, err
	}
	at, err := time.Parse(timeForm, c.At)
	if err != nil {
		return p, e, err
	}
	if again, err := json.Marshal(c); err != nil || !bytes.Equal(again, p.ExtraData) || at.Format(timeForm) != c.At {
		return p, e, errors.New("the extra data is not in canonical form")
	}
	if !validKind(c.Kind) || len(c.Salt) != saltSize || len(c.Record) == 0 {
		return p, e, errors.New("the extra data is no entry")
	}
	return p, Entry{Index: int64(p.Index), Kind: c.Kind, At: at, Salt: c.Salt, Record: c.Record}, nil
}
