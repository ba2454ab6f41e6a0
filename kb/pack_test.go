package kb

import (
	"flag"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "make base.gob and the reference files anew")

func TestPacked(t *testing.T) {
	fresh, err := Read()
	require.NoError(t, err)
	data, err := makePack(fresh)
	require.NoError(t, err)
	same := func() bool { // gob writes maps in any order, so the bytes cannot be compared
		got, kept := unpack(), packed
		defer func() { packed = kept }()
		packed = data
		return assert.ObjectsAreEqual(unpack(), got)
	}
	if *update && !same() {
		require.NoError(t, os.WriteFile("base.gob", data, 0o644))
		packed = data
	}
	require.NotNil(t, unpack(), "base.gob does not belong to the YAML files: run go generate ./kb")
	assert.True(t, same(), "base.gob was made by other code: run go generate ./kb")

	kept := packed
	defer func() { packed = kept }()
	packed = data[:len(data)/2]
	assert.Nil(t, unpack(), "a damaged pack is left aside")
	packed = nil
	assert.Nil(t, unpack(), "a missing pack is left aside")
}
