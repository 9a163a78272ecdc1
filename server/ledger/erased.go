package ledger

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"lampwright/locales/problem"
)

// MaxErased is how many entries one erasure can name.
const MaxErased = 300

// erasure is what an Erased entry keeps of an entry: enough for its leaf, and
// nothing that can be guessed from once the salt is gone.
type erasure struct {
	Index int64  `json:"index"`
	Body  []byte `json:"body"` // base64
}

type erasedForm struct {
	Erased []erasure `json:"erased"`
}

// ErasedRecord is the record of the Erased entry for these entries, as they are
// before their salts and records are deleted: at most MaxErased, none erased
// before, none that the log itself needs.
func ErasedRecord(entries ...Entry) (_ []byte, err error) {
	defer problem.In(&err, "ledger.ErasedRecord")
	var form erasedForm
	for _, e := range entries {
		switch {
		case e.Kind == Erased || e.Kind == KeyChanged:
			return nil, fmt.Errorf("entry %d is needed by the log", e.Index)
		case !e.says():
			return nil, fmt.Errorf("entry %d does not hold what its leaf says", e.Index)
		}
		body := bodyOf(e.Salt, e.Record)
		form.Erased = append(form.Erased, erasure{e.Index, body[:]})
	}
	slices.SortFunc(form.Erased, func(a, b erasure) int { return cmp.Compare(a.Index, b.Index) })
	record, err := json.Marshal(form)
	if err != nil {
		return nil, err
	}
	_, err = readErased(record)
	return record, err
}

// readErased reads the one form that ErasedRecord writes.
func readErased(record []byte) ([]erasure, error) {
	var form erasedForm
	if err := json.Unmarshal(record, &form); err != nil {
		return nil, err
	}
	if n := len(form.Erased); n == 0 || n > MaxErased {
		return nil, fmt.Errorf("%d entries to erase", n)
	}
	last := int64(-1)
	for _, e := range form.Erased {
		if len(e.Body) != sha256.Size || e.Index <= last {
			return nil, fmt.Errorf("entry %d to erase, after %d", e.Index, last)
		}
		last = e.Index
	}
	if again, err := json.Marshal(form); err != nil || !bytes.Equal(again, record) {
		return nil, errors.New("not in canonical form")
	}
	return form.Erased, nil
}
