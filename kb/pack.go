package kb

import (
	"bytes"
	_ "embed"
	"encoding/gob"
	"hash/crc32"
)

//go:generate go test -run ^TestPacked$ -update .

// packed is the knowledge base as [Read] gives it, in a form that loads in a
// twentieth of the time, so that the first question is on the screen at once.
// It is made from the YAML files by go generate, and left aside when they have
// changed since.
//
//go:embed base.gob
var packed []byte

// unpack returns the packed base, nil where it does not belong to the YAML files.
func unpack() *Base {
	d := gob.NewDecoder(bytes.NewReader(packed))
	var sum uint32 // of the YAML files that it was made from
	if err := d.Decode(&sum); err != nil || sum != yamlSum() {
		return nil
	}
	b := new(Base)
	if err := d.Decode(b); err != nil {
		return nil
	}
	b.buildIndex()
	return b
}

// makePack is the inverse of unpack.
func makePack(b *Base) ([]byte, error) {
	var w bytes.Buffer
	e := gob.NewEncoder(&w)
	if err := e.Encode(yamlSum()); err != nil {
		return nil, err
	}
	if err := e.Encode(b); err != nil {
		return nil, err
	}
	return w.Bytes(), nil
}

func yamlSum() uint32 {
	var sum uint32
	for _, name := range fileNames {
		data, err := embedded.ReadFile(name)
		if err != nil {
			return 0
		}
		sum = crc32.Update(sum, crc32.IEEETable, data)
	}
	return sum
}
