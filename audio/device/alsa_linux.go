package device

/*
#cgo CFLAGS: -D_GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>

// snd_pcm_delay stands in the way of ALSA's own, for PortAudio alone. The PulseAudio plug-in answers
// EIO, as if the device were gone, as long as the server has told nothing of a stream's timing
// (libasound2-plugins 1.2.7, pcm_pulse.c, pulse_delay: PA_ERR_NODATA without its minus sign):
// for a moment after each start, and after each underrun. PortAudio ends the stream's thread of
// that without a word (19.6, pa_linux_alsa.c, ContinuePoll); with EPIPE it goes on, and asks again.
// A device that is gone it learns of in the same turn, by what it does next.
int snd_pcm_delay(void *pcm, long *delay) {
	static int (*alsa)(void *, long *);
	if (!alsa) alsa = (int (*)(void *, long *))dlsym(RTLD_NEXT, "snd_pcm_delay");
	int err = alsa ? alsa(pcm, delay) : -ENOSYS;
	return err == -EIO ? -EPIPE : err;
}

// cox_alsa_has_pcms reports whether ALSA's configuration names any device at all.
// ALSA is there because PortAudio is linked to it; its headers need not be.
static int cox_alsa_has_pcms(void) {
	int (*update)(void) = (int (*)(void))dlsym(RTLD_DEFAULT, "snd_config_update");
	void **config = (void **)dlsym(RTLD_DEFAULT, "snd_config");
	int (*search)(void *, const char *, void **) =
		(int (*)(void *, const char *, void **))dlsym(RTLD_DEFAULT, "snd_config_search");
	void *node;
	if (!update || !config || !search) return 1; // another kind of PortAudio
	return update() >= 0 && *config && search(*config, "pcm", &node) >= 0;
}
*/
import "C"

import (
	"errors"
	"fmt"

	"golang.org/x/sys/unix"
)

// needFiles is how many files must be free to open before PortAudio looks for
// devices. It takes fewer than a dozen (measured on ALSA, JACK and PulseAudio's
// plug-in).
const needFiles = 32

// needSpace is how much address space the process needs: with less the sound server's library finds no
// device, waits for ever, or Go's runtime ends the program (measured with `ulimit -v`, PulseAudio 16: of
// 2.0 GB there was no microphone, 2.3 sufficed).
const needSpace = 2_400_000 << 10

// Room reports that this process may use too little of the machine for sound, whatever is plugged in.
func Room() error {
	if err := enoughSpace(); err != nil {
		return err
	}
	return enoughFiles()
}

// prepare makes PortAudio quiet, and checks what its ALSA part asserts and aborts
// the whole program for: that files can be opened and ALSA's configuration is there.
func prepare() error {
	if err := Room(); err != nil {
		return err
	}
	ownStderr()
	if C.cox_alsa_has_pcms() == 0 {
		return errors.New("sound system: ALSA's configuration cannot be read: install libasound2-data, " +
			"or look at $ALSA_CONFIG_PATH, /etc/asound.conf and ~/.asoundrc")
	}
	return nil
}

func enoughSpace() error {
	var most unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_AS, &most); err != nil || most.Cur >= needSpace {
		return nil
	}
	return fmt.Errorf("sound system: this process may address only %d kB, %d are needed: raise `ulimit -v` or LimitAS",
		most.Cur>>10, needSpace>>10)
}

func enoughFiles() error {
	var opened []int
	defer func() {
		for _, fd := range opened {
			unix.Close(fd)
		}
	}()
	for len(opened) < needFiles {
		fd, err := unix.Open("/dev/null", unix.O_RDONLY|unix.O_CLOEXEC, 0)
		if err != nil && !errors.Is(err, unix.EINTR) {
			return fmt.Errorf("sound system: only %d more files can be opened, %d are needed (%w): "+
				"close idle connections, or raise LimitNOFILE or `ulimit -n`", len(opened), needFiles, err)
		}
		if err == nil {
			opened = append(opened, fd)
		}
	}
	return nil
}
