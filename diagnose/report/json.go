package report

import (
	"encoding/json"
	"fmt"
)

// JSON is the result object of the machine interface, indented.
func (r *Record) JSON() ([]byte, error) {
	text, err := json.MarshalIndent(r.Result, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("write result: %w", err)
	}
	return append(text, '\n'), nil
}
