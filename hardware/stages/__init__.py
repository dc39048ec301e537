"""The stages between a board's pins and a controller, each described once.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""
