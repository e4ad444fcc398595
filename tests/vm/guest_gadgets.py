# SPDX-License-Identifier: GPL-3.0-or-later
"""The guest's own USB devices: what a program that plays one will find ready."""

import contextlib
import os
import unittest

import gadget


class Gadgets(unittest.TestCase):

    def test_two_devices_wait_for_their_descriptors(self):
        with contextlib.ExitStack() as stack:
            for name, product in (("tmc", gadget.TMC_PRODUCT), ("acm", gadget.ACM_PRODUCT)):
                device = stack.enter_context(contextlib.closing(
                    gadget.Gadget(name, product, "LARK0001")))
                self.assertEqual(os.listdir(device.mount), ["ep0"])
        self.assertEqual(os.listdir(gadget.CONFIGFS), [])

    def test_controllers_are_there(self):
        self.assertEqual(sorted(os.listdir("/sys/class/udc")), list(gadget.CONTROLLERS))

    def test_kernel_driver_to_be_detached_is_there(self):
        """Whoever wants a USBTMC device has to take it from this one, and to give it back."""
        self.assertTrue(os.path.isdir("/sys/bus/usb/drivers/usbtmc"))
