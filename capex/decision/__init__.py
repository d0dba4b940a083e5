"""decision"""
