package timeline

import "testing"

// People read the title of a protocol, not its id; of one that is not at hand the id is all there is.
func TestProtocolTitle(t *testing.T) {
	for named, want := range map[string]string{
		"aha-2025 0123abcd": "Arrest and peri-arrest, AHA 2025", "erc-2025 x": "Arrest and peri-arrest, ERC 2025",
		"site-1 0123abcd": "site-1", "": "",
	} {
		if got := ProtocolTitle(named); got != want {
			t.Errorf("%q is %q, want %q", named, got, want)
		}
	}
}
