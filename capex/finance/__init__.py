"""finance"""
