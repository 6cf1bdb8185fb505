package device

/*
#cgo pkg-config: portaudio-2.0
#include <portaudio.h>
*/
import "C"

import (
	"reflect"

	"github.com/gordonklaus/portaudio"
)

// paStream is PortAudio's stream, with what the binding leaves out.
type paStream struct{ *portaudio.Stream }

// Active reports whether the stream's thread still runs: it ends when the device fails, which nothing
// else tells. Not to be asked once the stream is closed.
func (s paStream) Active() bool {
	handle := reflect.ValueOf(s.Stream).Elem().FieldByName("paStream")
	if handle.Kind() != reflect.UnsafePointer { // another binding: not known
		return true
	}
	return C.Pa_IsStreamActive(handle.UnsafePointer()) != 0
}
