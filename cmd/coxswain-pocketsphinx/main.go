// Command coxswain-pocketsphinx is a recogniser plug-in over PocketSphinx
// (Debian's libpocketsphinx-dev and pocketsphinx-en-us). It speaks the line
// protocol of intents.Serve and is started by coxswain.
package main

import (
	"fmt"
	"os"

	"coxswain/intents"
)

func main() {
	if err := intents.Serve("pocketsphinx 5prealpha", newRecogniser, os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "coxswain-pocketsphinx:", err)
		os.Exit(1)
	}
}
