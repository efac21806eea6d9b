#!/usr/bin/env bash
# The pedal against a real kernel: boots Debian's kernel in qemu (no KVM
# needed, about 10 s) with uinput, and runs pedalcheck there. Not part of the
# usual tests, since it fetches a 70 MB kernel package; run it by hand after
# changing src/hand/pedal.rs:
#   apt-get install qemu-system-x86 seabios busybox-static cpio kmod
#   tests/live/pedal-vm.sh [FOLDER to keep the kernel in]
set -euo pipefail
cd "$(dirname "$0")/../.."
K=$(realpath -m "${1:-target/pedal-vm}")
mkdir -p "$K"
if ! compgen -G "$K/x/boot/vmlinuz-*" >/dev/null; then
    package=$(apt-cache depends linux-image-amd64 | awk '/Depends: linux-image/{print $2; exit}')
    (cd "$K" && { compgen -G "${package}_*.deb" >/dev/null || apt-get download "$package"; } &&
        dpkg-deb -x "$package"_*.deb x)
fi
cargo build --quiet --examples
R=$(mktemp -d)
trap 'rm -rf "$R" "$R.cpio.gz"' EXIT
mkdir -p "$R"/{bin,dev,proc,sys,modules}
cp /bin/busybox "$R/bin/"
for c in sh mount insmod poweroff; do ln -s busybox "$R/bin/$c"; done
cp target/debug/examples/pedalcheck "$R/bin/"
# The program is linked to the sound library, so its libraries go along.
ldd target/debug/examples/pedalcheck | grep -oE '/[^ ]+' | while read -r lib; do
    mkdir -p "$R$(dirname "$lib")"
    cp -L "$lib" "$R$lib"
done
modules=$(echo "$K"/x/lib/modules/*/kernel)
for m in drivers/input/evdev drivers/input/misc/uinput; do
    cp "$modules/$m.ko" "$R/modules/" 2>/dev/null || xz -dc "$modules/$m.ko.xz" >"$R/modules/$(basename $m).ko"
done
cat >"$R/init" <<'I'
#!/bin/sh
mount -t devtmpfs dev /dev; mount -t proc proc /proc; mount -t sysfs sys /sys
insmod /modules/evdev.ko; insmod /modules/uinput.ko
/bin/pedalcheck
poweroff -f
I
chmod +x "$R/init"
(cd "$R" && find . | cpio -o -H newc 2>/dev/null | gzip -1 >"$R.cpio.gz")
out=$(timeout 180 qemu-system-x86_64 -accel tcg,thread=multi -m 512 -smp 2 -nic none -display none \
    -serial stdio -monitor none -no-reboot -kernel "$K"/x/boot/vmlinuz-* -initrd "$R.cpio.gz" \
    -append "console=ttyS0 quiet panic=-1 mitigations=off" </dev/null)
echo "$out" | tr -d '\r'
grep -q PEDAL-OK <<<"$out"
