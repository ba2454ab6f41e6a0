// Loopfault finds what is wrong with a buried boundary loop, and where.
package main

import (
	"os"

	"loopfault/diagnose/command"
)

func main() {
	os.Exit(command.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
